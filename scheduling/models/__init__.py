"""The top floor's tables."""

from scheduling.models.note_templates import NoteTemplate
from scheduling.models.planned import PlannedGoal
from scheduling.models.visits import (
    Booking,
    Participation,
    ParticipationChange,
    ParticipationNote,
    Visit,
    VisitCorrection,
)

__all__ = [
    "Booking",
    "NoteTemplate",
    "Participation",
    "ParticipationChange",
    "ParticipationNote",
    "PlannedGoal",
    "Visit",
    "VisitCorrection",
]
