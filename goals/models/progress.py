"""What the numbers say now, what they said before, and what somebody should look at because of it."""

from django.db import models
from django.db.models import F, Q

from clinic.models import Episode, Staff
from clinic.models.base import ScopedModel, code_field, one_of
from clinic.models.guards import append_only, fixed
from clinic.models.reach import ReachQuerySet
from goals.enums import CriterionState
from goals.models.plans import Goal


class Findings(models.Model):
    """The columns that a computation fills, the same for the present row and for the history."""

    engine = models.CharField(max_length=20)
    input_digest = models.CharField(max_length=64)
    visits = models.PositiveIntegerField()
    last_on = models.DateField(null=True)
    last_value = models.CharField(max_length=100, blank=True, default="")
    level = models.CharField(max_length=100, blank=True, default="")
    baseline = models.CharField(max_length=100, blank=True, default="")
    percent = models.DecimalField(max_digits=60, decimal_places=12, null=True)
    slope_per_week = models.DecimalField(max_digits=60, decimal_places=12, null=True)
    criterion = code_field(CriterionState, null=True)
    satisfied = models.PositiveSmallIntegerField(null=True)
    preliminary = models.BooleanField(default=False)
    findings = models.JSONField(default=dict)
    computed_at = models.DateTimeField()

    class Meta:
        abstract = True


class GoalProgress(Findings):
    """The present findings of one goal."""

    goal = models.OneToOneField(Goal, on_delete=models.PROTECT, primary_key=True, related_name="progress")
    organization = models.ForeignKey("clinic.Organization", on_delete=models.PROTECT, related_name="+", db_index=False)

    class Meta:
        constraints = [one_of("criterion", CriterionState, name="progress_criterion_is_known", null=True)]
        indexes = [models.Index(fields=["organization", "criterion"], name="progress_by_criterion")]

    def __str__(self) -> str:
        return f"progress of {self.goal_id}"


class GoalProgressHistory(ScopedModel, Findings):
    """Findings as they once stood; one row each time that the inputs became others."""

    goal = models.ForeignKey(Goal, on_delete=models.PROTECT, related_name="progress_history", db_index=False)
    number = models.PositiveIntegerField()

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            models.UniqueConstraint(fields=["goal", "number"], name="progress_history_number_once"),
            one_of("criterion", CriterionState, name="progress_history_criterion_is_known", null=True),
        ]
        triggers = append_only()

    def __str__(self) -> str:
        return f"progress {self.number} of {self.goal_id}"


class ReviewItem(ScopedModel):
    """Something computed that a therapist should look at; withdrawn when it no longer holds, never deleted."""

    goal = models.ForeignKey(Goal, on_delete=models.PROTECT, related_name="review_items")
    episode = models.ForeignKey(Episode, on_delete=models.PROTECT, related_name="+")
    kind = models.CharField(max_length=40)
    opened_at = models.DateTimeField()
    withdrawn_at = models.DateTimeField(null=True)
    acknowledged_at = models.DateTimeField(null=True)
    acknowledged_by = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+", null=True)

    objects = ReachQuerySet.as_manager()

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            one_of("kind", ["goal_met"], name="review_item_kind_is_known"),
            models.UniqueConstraint(
                fields=["goal", "kind"],
                name="review_item_one_open",
                condition=Q(withdrawn_at__isnull=True, acknowledged_at__isnull=True),
            ),
            models.CheckConstraint(
                name="review_item_acknowledged_by_somebody",
                condition=Q(acknowledged_at__isnull=True, acknowledged_by__isnull=True)
                | Q(acknowledged_at__isnull=False, acknowledged_by__isnull=False),
            ),
            models.CheckConstraint(
                name="review_item_withdrawn_after_opening",
                condition=Q(withdrawn_at__isnull=True) | Q(withdrawn_at__gte=F("opened_at")),
            ),
        ]
        triggers = fixed("organization_id", "goal_id", "kind", "opened_at")

    def __str__(self) -> str:
        return f"{self.kind} of {self.goal_id}"
