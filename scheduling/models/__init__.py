"""The top floor's tables."""

from scheduling.models.visits import Booking, Participation, ParticipationChange, ParticipationNote, Visit

__all__ = ["Booking", "Participation", "ParticipationChange", "ParticipationNote", "Visit"]
