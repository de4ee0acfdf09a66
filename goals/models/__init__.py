"""The first floor's tables."""

from goals.models.measurements import Measurement
from goals.models.plans import Certification, Clause, Goal, GoalChange, GoalPhase, OrderedScale, PlanPeriod
from goals.models.progress import GoalProgress, GoalProgressHistory, ReviewItem

__all__ = [
    "Certification",
    "Clause",
    "Goal",
    "GoalChange",
    "GoalPhase",
    "GoalProgress",
    "GoalProgressHistory",
    "Measurement",
    "OrderedScale",
    "PlanPeriod",
    "ReviewItem",
]
