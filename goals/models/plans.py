"""What a child is treated towards: plan periods with their certification, goals, phases, criteria."""

from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import ArrayField, RangeOperators
from django.db import models
from django.db.models import F, Q

from clinic.models import Client, DocumentVersion, Episode, Staff
from clinic.models.base import (
    DAYS,
    PeriodQuerySet,
    ScopedModel,
    VersionedModel,
    code_field,
    ends_after_start,
    one_of,
)
from clinic.models.guards import append_only, fixed, only_changes
from clinic.models.reach import ReachQuerySet, ScopedQuerySet
from goals.enums import (
    Achievement,
    AssistanceLevel,
    Comparison,
    ConsistencyKind,
    Direction,
    IntervalMethod,
    Lifecycle,
    MeasureKind,
    PhaseKind,
    PromptKind,
    Purpose,
    SideRule,
    Strata,
    VisitValue,
)


class PlanPeriod(VersionedModel):
    """The days that one certification of an episode's plan of care covers, with the frequency it asks for."""

    episode = models.ForeignKey(Episode, on_delete=models.PROTECT, related_name="plan_periods")
    document_version = models.ForeignKey(DocumentVersion, on_delete=models.PROTECT, related_name="+", null=True)
    starts_on = models.DateField()
    ends_on = models.DateField()
    frequency = models.JSONField(default=list)
    written_by = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+")

    objects = ReachQuerySet.as_manager()

    class Meta(VersionedModel.Meta):
        constraints = [
            *VersionedModel.Meta.constraints,
            models.CheckConstraint(name="plan_period_ends_after_start", condition=Q(ends_on__gte=F("starts_on"))),
            ExclusionConstraint(
                name="plan_period_no_overlap",
                expressions=[("episode", RangeOperators.EQUAL), (DAYS, RangeOperators.OVERLAPS)],
            ),
        ]
        indexes = [models.Index(fields=["ends_on"], name="plan_period_by_end")]
        triggers = fixed("organization_id", "episode_id")

    def __str__(self) -> str:
        return f"{self.starts_on} to {self.ends_on}"


class CertificationQuerySet(ReachQuerySet):
    """Certifications, reached as their plan's episode is."""

    episode_path = "plan_period__episode_id"


class Certification(VersionedModel):
    """An outside physician's signature on a plan: sent, received, verbal order, signed."""

    plan_period = models.ForeignKey(PlanPeriod, on_delete=models.PROTECT, related_name="certifications")
    physician_name = models.CharField(max_length=200)
    physician_npi = models.CharField(max_length=10, blank=True, default="")
    sent_on = models.DateField(null=True)
    verbal_order_on = models.DateField(null=True)
    received_on = models.DateField(null=True)
    signed_on = models.DateField(null=True)

    objects = CertificationQuerySet.as_manager()

    class Meta(VersionedModel.Meta):
        constraints = [
            *VersionedModel.Meta.constraints,
            models.CheckConstraint(
                name="certification_npi_is_ten_digits",
                condition=Q(physician_npi="") | Q(physician_npi__regex=r"^[0-9]{10}$"),
            ),
        ]
        triggers = fixed("organization_id", "plan_period_id")

    def __str__(self) -> str:
        return f"certification of {self.plan_period_id}"


class OrderedScale(VersionedModel):
    """A scale of the organization's own: named levels, lowest first."""

    name = models.CharField(max_length=200)
    levels = ArrayField(models.CharField(max_length=100))

    objects = ScopedQuerySet.as_manager()

    class Meta(VersionedModel.Meta):
        constraints = [
            *VersionedModel.Meta.constraints,
            models.UniqueConstraint(fields=["organization", "name"], name="scale_name_once_per_organization"),
            models.CheckConstraint(name="scale_has_two_levels", condition=Q(levels__len__gte=2)),
        ]
        triggers = fixed("organization_id", "levels")

    def __str__(self) -> str:
        return self.name


MEASURE_COLUMNS = (
    "purpose",
    "direction",
    "measure",
    "unit",
    "visit_value",
    "strata",
    "strata_names",
    "scale_id",
    "levels",
    "alone_at",
    "interval_method",
    "per_minutes",
    "standard_error",
    "trial_name",
    "independent_trials",
    "components",
)
"""What numbers already derived rest on; it never changes."""


class Goal(VersionedModel):
    """A long-term goal, or a short-term one under it. Its number in the episode is never changed or used again."""

    episode = models.ForeignKey(Episode, on_delete=models.PROTECT, related_name="goals")
    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="goals", db_index=False)
    number = models.PositiveIntegerField()
    parent = models.ForeignKey("self", on_delete=models.PROTECT, related_name="children", null=True)
    text = models.CharField(max_length=2000)
    purpose = code_field(Purpose)
    measure = code_field(MeasureKind)
    direction = code_field(Direction)
    unit = models.CharField(max_length=100, default="1")
    visit_value = code_field(VisitValue, default=VisitValue.SINGLE.value)
    strata = code_field(Strata, default=Strata.NONE.value)
    strata_names = ArrayField(models.CharField(max_length=100), default=list, blank=True)
    scale = models.ForeignKey(OrderedScale, on_delete=models.PROTECT, related_name="+", null=True)
    levels = ArrayField(models.CharField(max_length=500), default=list, blank=True)
    alone_at = code_field(AssistanceLevel, default=AssistanceLevel.SUPERVISION.value)
    interval_method = code_field(IntervalMethod, null=True)
    per_minutes = models.DecimalField(max_digits=18, decimal_places=12, default=1)
    standard_error = models.DecimalField(max_digits=18, decimal_places=12, null=True)
    trial_name = models.CharField(max_length=100, default="trials")
    independent_trials = models.BooleanField(default=True)
    components = models.JSONField(default=list, blank=True)
    definition = models.CharField(max_length=2000, blank=True, default="")
    lifecycle = code_field(Lifecycle, default=Lifecycle.PROPOSED.value)
    achievement = code_field(Achievement, null=True)
    starts_on = models.DateField(null=True)
    due_on = models.DateField(null=True)
    proposed_by = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+")

    objects = ReachQuerySet.as_manager()

    class Meta(VersionedModel.Meta):
        constraints = [
            *VersionedModel.Meta.constraints,
            models.UniqueConstraint(fields=["episode", "number"], name="goal_number_once_per_episode"),
            models.UniqueConstraint(
                fields=["organization", "id", "episode", "measure"], name="goal_key_with_episode_and_measure"
            ),
            one_of("purpose", Purpose, name="goal_purpose_is_known"),
            one_of("measure", MeasureKind, name="goal_measure_is_known"),
            one_of("direction", Direction, name="goal_direction_is_known"),
            one_of("visit_value", VisitValue, name="goal_visit_value_is_known"),
            one_of("strata", Strata, name="goal_strata_are_known"),
            one_of("lifecycle", Lifecycle, name="goal_lifecycle_is_known"),
            one_of("achievement", Achievement, name="goal_achievement_is_known", null=True),
            models.CheckConstraint(name="goal_number_from_one", condition=Q(number__gte=1)),
            models.CheckConstraint(
                name="goal_active_has_a_start",
                condition=~Q(lifecycle__in=[Lifecycle.ACTIVE.value, Lifecycle.ON_HOLD.value, Lifecycle.COMPLETED.value])
                | Q(starts_on__isnull=False),
            ),
            models.CheckConstraint(
                name="goal_ordered_has_a_scale",
                condition=Q(measure=MeasureKind.ORDERED.value) | Q(scale__isnull=True),
            ),
            models.CheckConstraint(
                name="goal_rating_has_five_levels",
                condition=Q(measure=MeasureKind.RATING.value, levels__len=5)
                | (~Q(measure=MeasureKind.RATING.value) & Q(levels__len=0)),
            ),
            models.CheckConstraint(
                name="goal_measure_is_of_positive_size",
                condition=Q(per_minutes__gt=0) & (Q(standard_error__isnull=True) | Q(standard_error__gt=0)),
            ),
        ]
        indexes = [models.Index(fields=["client"], include=["lifecycle"], name="goal_by_client")]
        triggers = fixed("organization_id", "episode_id", "client_id", "number", "proposed_by_id", *MEASURE_COLUMNS)

    def __str__(self) -> str:
        return f"goal {self.number} of {self.episode_id}"


class GoalChange(ScopedModel):
    """One step of a goal's lifecycle or of the therapist's achievement status."""

    goal = models.ForeignKey(Goal, on_delete=models.PROTECT, related_name="changes")
    kind = models.CharField(max_length=20)
    from_status = models.CharField(max_length=40, blank=True, default="")
    to_status = models.CharField(max_length=40)
    effective_on = models.DateField()
    at = models.DateTimeField()
    by = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+")
    reason = models.CharField(max_length=500, blank=True, default="")

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            one_of("kind", ["lifecycle", "achievement"], name="goal_change_kind_is_known"),
        ]
        triggers = append_only()

    def __str__(self) -> str:
        return f"{self.from_status} to {self.to_status}"


class GoalPhase(ScopedModel):
    """A stretch of a goal's course, with the criterion that holds in it. A revision starts a new one."""

    goal = models.ForeignKey(Goal, on_delete=models.PROTECT, related_name="phases")
    ordinal = models.PositiveSmallIntegerField()
    kind = code_field(PhaseKind)
    starts_on = models.DateField()
    ends_on = models.DateField(null=True)
    consistency = code_field(ConsistencyKind, null=True)
    needed = models.PositiveSmallIntegerField(null=True)
    window = models.PositiveSmallIntegerField(null=True)
    minimum_trials = models.PositiveIntegerField(null=True)
    minimum_intervals = models.PositiveIntegerField(null=True)
    minimum_days = models.PositiveIntegerField(null=True)
    minimum_minutes = models.DecimalField(max_digits=18, decimal_places=12, null=True)
    settings_needed = models.PositiveSmallIntegerField(null=True)
    partners_needed = models.PositiveSmallIntegerField(null=True)
    written_by = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+")
    written_at = models.DateTimeField()

    objects = PeriodQuerySet.as_manager()

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            models.UniqueConstraint(fields=["goal", "ordinal"], name="goal_phase_ordinal_once"),
            one_of("kind", PhaseKind, name="goal_phase_kind_is_known"),
            ends_after_start("goal_phase_ends_after_start"),
            ExclusionConstraint(
                name="goal_phase_no_overlap",
                expressions=[("goal", RangeOperators.EQUAL), (DAYS, RangeOperators.OVERLAPS)],
            ),
            models.CheckConstraint(
                name="goal_phase_consistency_is_whole",
                condition=Q(consistency__isnull=True, needed__isnull=True, window__isnull=True)
                | Q(
                    consistency__isnull=False,
                    consistency=ConsistencyKind.OF_LAST.value,
                    needed__isnull=False,
                    window__isnull=False,
                    needed__gte=1,
                    window__gte=F("needed"),
                )
                | Q(
                    consistency__isnull=False,
                    consistency=ConsistencyKind.IN_A_ROW.value,
                    needed__isnull=False,
                    needed__gte=1,
                    window__isnull=True,
                )
                | Q(
                    consistency__isnull=False,
                    consistency__in=[ConsistencyKind.POOLED_VISITS.value, ConsistencyKind.POOLED_DAYS.value],
                    needed__isnull=True,
                    window__isnull=False,
                    window__gte=1,
                ),
            ),
        ]
        triggers = only_changes("ends_on")

    def __str__(self) -> str:
        return f"{self.kind} from {self.starts_on}"


class Clause(ScopedModel):
    """One part of a criterion; the parts are joined by "and". One is primary and feeds the statistics."""

    phase = models.ForeignKey(GoalPhase, on_delete=models.PROTECT, related_name="clauses")
    ordinal = models.PositiveSmallIntegerField()
    component = code_field(MeasureKind)
    comparison = code_field(Comparison)
    value = models.CharField(max_length=100)
    upper_value = models.CharField(max_length=100, blank=True, default="")
    share = models.CharField(max_length=40, blank=True, default="")
    most_assistance = code_field(AssistanceLevel, null=True)
    most_prompting = code_field(PromptKind, null=True)
    side_rule = code_field(SideRule, null=True)
    primary = models.BooleanField(default=False)

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            models.UniqueConstraint(fields=["phase", "ordinal"], name="clause_ordinal_once"),
            models.UniqueConstraint(fields=["phase"], condition=Q(primary=True), name="clause_one_primary"),
            models.CheckConstraint(name="clause_at_most_four", condition=Q(ordinal__range=(1, 4))),
            one_of("component", MeasureKind, name="clause_component_is_known"),
            one_of("comparison", Comparison, name="clause_comparison_is_known"),
            one_of("most_assistance", AssistanceLevel, name="clause_assistance_is_known", null=True),
            one_of("most_prompting", PromptKind, name="clause_prompting_is_known", null=True),
            one_of("side_rule", SideRule, name="clause_side_rule_is_known", null=True),
            models.CheckConstraint(
                name="clause_within_has_two_ends",
                condition=(Q(comparison=Comparison.WITHIN.value) & ~Q(upper_value=""))
                | (~Q(comparison=Comparison.WITHIN.value) & Q(upper_value="")),
            ),
        ]
        triggers = append_only()

    def __str__(self) -> str:
        return f"{self.component} {self.comparison} {self.value}"
