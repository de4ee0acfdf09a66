"""The top floor's tables."""

from scheduling.models.clocks import Deadline, DeadlineChange, DeadlineRule, Fact, ReportingPeriod
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
    "Deadline",
    "DeadlineChange",
    "DeadlineRule",
    "Fact",
    "NoteTemplate",
    "Participation",
    "ParticipationChange",
    "ParticipationNote",
    "PlannedGoal",
    "ReportingPeriod",
    "Visit",
    "VisitCorrection",
]
