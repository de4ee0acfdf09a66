"""What was counted at a visit, written once, at signing, from the frozen content."""

from django.db import models
from django.db.models import F, Func, Q

from clinic.models import Client, Document, DocumentVersion, Episode, Site
from clinic.models.base import ScopedModel, code_field, one_of
from clinic.models.guards import append_only
from clinic.models.reach import ReachQuerySet
from goals.enums import Censored, MeasureKind, MeasurementSource, NotMeasuredReason
from goals.models.plans import Goal

PROPORTIONS = [MeasureKind.ACCURACY.value, MeasureKind.INTERVAL.value]
NOT_NEGATIVE = [MeasureKind.DURATION.value, MeasureKind.LATENCY.value, MeasureKind.PROMPTS.value]
WHOLE = Func(F("value"), function="TRUNC")

NOTHING = Q(
    not_measured__isnull=False,
    successes__isnull=True,
    counted__isnull=True,
    value__isnull=True,
    censored__isnull=True,
    opportunities__isnull=True,
    watched__isnull=True,
)
COUNTS = Q(
    successes__isnull=False,
    counted__isnull=False,
    counted__gte=1,
    successes__lte=F("counted"),
    value__isnull=False,
    censored__isnull=True,
)
OF_TRIALS = Q(successes__isnull=True, counted__isnull=False, counted__gte=1, value__isnull=False)
POSSIBLE = (
    (Q(measure__in=PROPORTIONS, value__range=(0, 1)) & COUNTS)
    | (Q(measure=MeasureKind.STEPS.value, value=F("successes")) & COUNTS)
    | (Q(measure__in=NOT_NEGATIVE, value__gte=0) & OF_TRIALS)
    | (Q(measure=MeasureKind.QUANTITY.value) & OF_TRIALS)
    | (Q(measure=MeasureKind.SCORE.value, censored__isnull=True) & OF_TRIALS)
    | (Q(measure=MeasureKind.ORDERED.value, censored__isnull=True, value__gte=0, value=WHOLE) & OF_TRIALS)
    | (Q(measure=MeasureKind.RATING.value, censored__isnull=True, value__range=(-2, 2), value=WHOLE) & OF_TRIALS)
    | Q(
        measure=MeasureKind.RATE.value,
        successes__isnull=True,
        counted__isnull=True,
        value__isnull=False,
        value__gte=0,
        watched__isnull=False,
        watched__gt=0,
    )
)


class Measurement(ScopedModel):
    """One goal's numbers from one signed version: the raw trials, and what the engine reads derived once."""

    goal = models.ForeignKey(Goal, on_delete=models.PROTECT, related_name="measurements", db_index=False)
    episode = models.ForeignKey(Episode, on_delete=models.PROTECT, related_name="+", db_index=False)
    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="+", db_index=False)
    measure = code_field(MeasureKind)
    document = models.ForeignKey(Document, on_delete=models.PROTECT, related_name="measurements")
    version = models.ForeignKey(DocumentVersion, on_delete=models.PROTECT, related_name="measurements", db_index=False)
    slot = models.PositiveSmallIntegerField(default=1)
    service_date = models.DateField()
    observed_from = models.DateTimeField(null=True)
    observed_until = models.DateTimeField(null=True)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="+", null=True, db_index=False)
    setting = models.CharField(max_length=100, blank=True, default="")
    source = code_field(MeasurementSource, default=MeasurementSource.CLINICIAN.value)
    observer = models.CharField(max_length=100, blank=True, default="")
    partner = models.CharField(max_length=100, blank=True, default="")
    opportunities = models.PositiveIntegerField(null=True)
    watched = models.DecimalField(max_digits=18, decimal_places=12, null=True)
    not_measured = code_field(NotMeasuredReason, null=True)
    trials = models.JSONField(default=dict)
    successes = models.PositiveIntegerField(null=True)
    counted = models.PositiveIntegerField(null=True)
    value = models.DecimalField(max_digits=40, decimal_places=12, null=True)
    censored = code_field(Censored, null=True)
    parts = models.JSONField(default=dict)
    replaces = models.ForeignKey(
        "self", on_delete=models.PROTECT, related_name="replaced_by", null=True, db_index=False
    )
    recorded_at = models.DateTimeField()

    objects = ReachQuerySet.as_manager()

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            models.UniqueConstraint(fields=["version", "goal", "slot"], name="measurement_slot_once"),
            one_of("measure", MeasureKind, name="measurement_measure_is_known"),
            one_of("source", MeasurementSource, name="measurement_source_is_known"),
            one_of("not_measured", NotMeasuredReason, name="measurement_reason_is_known", null=True),
            one_of("censored", Censored, name="measurement_censoring_is_known", null=True),
            models.CheckConstraint(
                name="measurement_is_possible_for_its_kind",
                condition=NOTHING | (Q(not_measured__isnull=True) & POSSIBLE),
            ),
            # NaN, which a numeric column holds, is greater than every number.
            models.CheckConstraint(
                name="measurement_value_is_a_number",
                condition=Q(value__isnull=True) | Q(value__lt=10**28),
            ),
            models.CheckConstraint(
                name="measurement_observed_until_after_from",
                condition=Q(observed_until__isnull=True)
                | Q(observed_from__isnull=False, observed_until__gte=F("observed_from")),
            ),
            models.CheckConstraint(
                name="measurement_watched_is_not_negative",
                condition=Q(watched__isnull=True) | Q(watched__gte=0, watched__lt=10**6),
            ),
        ]
        indexes = [
            models.Index(
                fields=["goal", "service_date"],
                include=["version", "document", "value", "successes", "counted", "censored"],
                name="measurement_by_goal",
            ),
            models.Index(fields=["replaces"], name="measurement_by_replaced", condition=Q(replaces__isnull=False)),
        ]
        triggers = append_only(told_at="recorded_at")

    def __str__(self) -> str:
        return f"measurement of {self.goal_id} on {self.service_date}"
