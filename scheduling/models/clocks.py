"""What clocks count, the rules by which they run, and what is due by them."""

from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import ArrayField, DateRangeField, RangeOperators
from django.db import models
from django.db.models import F, Func, Q, Value
from uuid_utils.compat import uuid7

from clinic.models import Client, Episode, Site, Staff
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
from clinic.models.reach import ReachQuerySet
from scheduling.enums import DeadlineOutcome, FactKind, SubjectKind

IN_EFFECT = Func(
    F("effective_from"), F("effective_until"), Value("[]"), function="DATERANGE", output_field=DateRangeField()
)


class DeadlineRule(models.Model):
    """One rule of a shipped pack, as it was loaded; the same for every organization."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    pack = models.CharField(max_length=60)
    code = models.CharField(max_length=60)
    title = models.CharField(max_length=200)
    settings = ArrayField(models.CharField(max_length=40))
    effective_from = models.DateField()
    effective_until = models.DateField(null=True)
    definition = models.JSONField()
    source = models.CharField(max_length=500)
    version_seen = models.CharField(max_length=500, blank=True, default="")
    caution = models.CharField(max_length=500)
    loaded_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["pack", "code", "effective_from"], name="deadline_rule_once_per_start"),
            models.CheckConstraint(
                name="deadline_rule_ends_after_start",
                condition=Q(effective_until__isnull=True) | Q(effective_until__gte=F("effective_from")),
            ),
            ExclusionConstraint(
                name="deadline_rule_no_overlap",
                expressions=[
                    ("pack", RangeOperators.EQUAL),
                    ("code", RangeOperators.EQUAL),
                    (IN_EFFECT, RangeOperators.OVERLAPS),
                ],
            ),
        ]
        triggers = fixed("pack", "code", "effective_from")

    def __str__(self) -> str:
        return f"{self.pack} {self.code}"


class ReportingPeriod(VersionedModel):
    """A stretch of a school's year at whose end its report cards go home."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="reporting_periods", db_index=False)
    name = models.CharField(max_length=100)
    starts_on = models.DateField()
    ends_on = models.DateField()

    objects = PeriodQuerySet.as_manager()

    class Meta(VersionedModel.Meta):
        constraints = [
            *VersionedModel.Meta.constraints,
            ends_after_start("reporting_period_ends_after_start"),
            ExclusionConstraint(
                name="reporting_period_no_overlap",
                expressions=[("site", RangeOperators.EQUAL), (DAYS, RangeOperators.OVERLAPS)],
            ),
        ]
        triggers = fixed("organization_id", "site_id")

    def __str__(self) -> str:
        return self.name


class Fact(ScopedModel):
    """Something that a clock counts: it happened on a day, said by one source, until that is taken back."""

    kind = code_field(FactKind)
    subject_kind = code_field(SubjectKind)
    subject_id = models.UUIDField()
    episode = models.ForeignKey(Episode, on_delete=models.PROTECT, related_name="+", db_index=False)
    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="+", db_index=False)
    occurred_on = models.DateField()
    covers_until = models.DateField()
    source_id = models.UUIDField()
    recorded_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True)

    objects = ReachQuerySet.as_manager()

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            models.UniqueConstraint(fields=["organization", "id", "episode"], name="fact_key_with_episode"),
            one_of("kind", FactKind, name="fact_kind_is_known"),
            one_of("subject_kind", SubjectKind, name="fact_subject_is_known"),
            models.UniqueConstraint(
                fields=["source_id", "kind", "subject_id"],
                name="fact_once_per_source",
                condition=Q(revoked_at__isnull=True),
            ),
            models.CheckConstraint(
                name="fact_revoked_after_recorded",
                condition=Q(revoked_at__isnull=True) | Q(revoked_at__gte=F("recorded_at")),
            ),
        ]
        indexes = [
            models.Index(
                fields=["episode", "kind", "occurred_on"],
                include=["subject_id", "covers_until"],
                name="fact_by_episode",
                condition=Q(revoked_at__isnull=True),
            )
        ]
        triggers = only_changes("revoked_at")

    def __str__(self) -> str:
        return f"{self.kind} on {self.occurred_on}"


class Deadline(ScopedModel):
    """What is due by a rule since one fact: a projection of facts, computed again whenever they may be others."""

    rule = models.ForeignKey(DeadlineRule, on_delete=models.PROTECT, related_name="+", db_index=False)
    episode = models.ForeignKey(Episode, on_delete=models.PROTECT, related_name="+")
    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="+", db_index=False)
    subject_kind = code_field(SubjectKind)
    subject_id = models.UUIDField()
    anchor = models.ForeignKey(Fact, on_delete=models.PROTECT, related_name="+", db_index=False)
    cycle = models.PositiveIntegerField()
    responsible = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+", null=True, db_index=False)
    starts_on = models.DateField()
    counted = models.PositiveIntegerField(default=0)
    target = models.PositiveIntegerField(default=0)
    due_on = models.DateField(null=True)
    expected_on = models.DateField(null=True)
    outcome = code_field(DeadlineOutcome, default=DeadlineOutcome.OPEN.value)
    closed_on = models.DateField(null=True)
    closed_by = models.ForeignKey(Fact, on_delete=models.PROTECT, related_name="+", null=True, db_index=False)
    computed_at = models.DateTimeField()

    objects = ReachQuerySet.as_manager()

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            one_of("subject_kind", SubjectKind, name="deadline_subject_is_known"),
            one_of("outcome", DeadlineOutcome, name="deadline_outcome_is_known"),
            models.UniqueConstraint(fields=["rule", "subject_id", "anchor"], name="deadline_once_per_anchor"),
            models.CheckConstraint(
                name="deadline_met_says_when",
                condition=Q(
                    outcome__in=[DeadlineOutcome.MET.value, DeadlineOutcome.MET_LATE.value], closed_on__isnull=False
                )
                | Q(
                    outcome__in=[DeadlineOutcome.OPEN.value, DeadlineOutcome.SUPERSEDED.value],
                    closed_on__isnull=True,
                    closed_by__isnull=True,
                ),
            ),
            models.CheckConstraint(name="deadline_counts_no_further", condition=Q(counted__lte=F("target"))),
        ]
        indexes = [
            models.Index(
                fields=["responsible", "due_on"],
                name="deadline_open_by_person",
                condition=Q(outcome=DeadlineOutcome.OPEN.value),
            ),
            models.Index(fields=["client"], name="deadline_by_client"),
        ]
        triggers = fixed("organization_id", "episode_id", "client_id", "rule_id", "subject_id", "anchor_id")

    def __str__(self) -> str:
        return f"{self.rule_id} of {self.subject_id}"


class DeadlineChange(ScopedModel):
    """One step of a deadline: what it was and became, and which day it named from then on."""

    deadline = models.ForeignKey(Deadline, on_delete=models.PROTECT, related_name="changes")
    from_outcome = models.CharField(max_length=40, blank=True, default="")
    to_outcome = code_field(DeadlineOutcome)
    due_on = models.DateField(null=True)
    at = models.DateTimeField()

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            one_of("to_outcome", DeadlineOutcome, name="deadline_change_outcome_is_known"),
        ]
        triggers = append_only()

    def __str__(self) -> str:
        return f"{self.from_outcome} to {self.to_outcome}"
