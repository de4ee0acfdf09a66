"""Words around flags: which come first, and what is said of one that has no sentence of its own."""

from clinic.enums import FlagSeverity

MOST_SEVERE_FIRST = (FlagSeverity.WARNING, FlagSeverity.NOTICE)


def in_words(check: str) -> str:
    """A check's name as a reader would say it."""
    return check.replace("_", " ")
