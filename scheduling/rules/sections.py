"""The sections of a note in which its author writes freely."""

SECTIONS = ("subjective", "objective", "assessment", "plan")
