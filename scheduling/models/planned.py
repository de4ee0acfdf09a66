"""What is planned for a child's part of a visit."""

from django.db import models
from django.db.models import F, Q

from clinic.models import Episode, Staff
from clinic.models.base import ScopedModel
from clinic.models.guards import only_changes
from clinic.models.reach import ReachQuerySet
from goals.models import Goal
from scheduling.models.visits import Participation


class PlannedGoalQuerySet(ReachQuerySet):
    def standing(self) -> "PlannedGoalQuerySet":
        """Those that were not dropped since."""
        return self.filter(dropped_at__isnull=True)


class PlannedGoal(ScopedModel):
    """A goal to be worked on in a child's part of a visit: who planned it, and when it was dropped, if it was."""

    participation = models.ForeignKey(Participation, on_delete=models.PROTECT, related_name="planned", db_index=False)
    goal = models.ForeignKey(Goal, on_delete=models.PROTECT, related_name="+", db_index=False)
    episode = models.ForeignKey(Episode, on_delete=models.PROTECT, related_name="+", db_index=False)
    planned_by = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+", db_index=False)
    planned_at = models.DateTimeField()
    dropped_at = models.DateTimeField(null=True)

    objects = PlannedGoalQuerySet.as_manager()

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            models.UniqueConstraint(
                fields=["participation", "goal"],
                name="planned_goal_stands_once_per_participation",
                condition=Q(dropped_at__isnull=True),
            ),
            models.CheckConstraint(
                name="planned_goal_dropped_after_planning",
                condition=Q(dropped_at__isnull=True) | Q(dropped_at__gte=F("planned_at")),
            ),
        ]
        indexes = [models.Index(fields=["participation"], name="planned_goal_by_participation")]
        triggers = only_changes("dropped_at")

    def __str__(self) -> str:
        return f"{self.goal_id} in {self.participation_id}"
