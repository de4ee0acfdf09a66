"""The top floor's tables."""

from scheduling.models.visits import Booking, Participation, ParticipationChange, Visit

__all__ = ["Booking", "Participation", "ParticipationChange", "Visit"]
