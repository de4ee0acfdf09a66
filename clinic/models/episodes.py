"""One child's service in one setting, and who treats in it."""

import pgtrigger
from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import RangeOperators
from django.db import models
from django.db.models import F, Q

from clinic.enums import CareRole, CareSource, Discipline, EpisodeStatus, RecordRegime, Setting
from clinic.models.base import (
    DAYS,
    EpisodePeriodQuerySet,
    ScopedModel,
    VersionedModel,
    code_field,
    ends_after_start,
    one_of,
)
from clinic.models.clients import Client
from clinic.models.guards import append_only, fixed
from clinic.models.organization import Site
from clinic.models.reach import EpisodeQuerySet
from clinic.models.staff import Staff

OPEN = Q(status__in=[EpisodeStatus.PLANNED.value, EpisodeStatus.ACTIVE.value, EpisodeStatus.ON_HOLD.value])


class Episode(VersionedModel):
    """One child's service in one setting: its jurisdiction, payer and record regime hold for all that hangs on it."""

    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="episodes")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="episodes")
    setting = code_field(Setting)
    discipline = code_field(Discipline, default=Discipline.OCCUPATIONAL_THERAPY.value)
    jurisdiction = models.CharField(max_length=10)
    record_regime = code_field(RecordRegime)
    payer = models.CharField(max_length=200, blank=True, default="")
    status = code_field(EpisodeStatus, default=EpisodeStatus.PLANNED.value)
    referred_on = models.DateField(null=True)
    consented_on = models.DateField(null=True)
    opened_on = models.DateField(null=True)
    closed_on = models.DateField(null=True)
    next_goal_number = models.PositiveIntegerField(default=1)
    # Entered while another was open that whoever entered it could not see: refusing would have told of it.
    beside_another = models.BooleanField(default=False, db_default=False)

    objects = EpisodeQuerySet.as_manager()

    class Meta(VersionedModel.Meta):
        constraints = [
            *VersionedModel.Meta.constraints,
            models.UniqueConstraint(fields=["organization", "id", "client"], name="episode_key_with_client"),
            one_of("setting", Setting, name="episode_setting_is_known"),
            one_of("record_regime", RecordRegime, name="episode_record_regime_is_known"),
            one_of("status", EpisodeStatus, name="episode_status_is_known"),
            models.UniqueConstraint(
                fields=["client", "setting", "discipline", "site"],
                name="episode_one_open_per_setting",
                condition=OPEN & Q(beside_another=False),
            ),
            models.CheckConstraint(
                name="episode_status_has_its_days",
                condition=(
                    Q(status=EpisodeStatus.PLANNED.value, closed_on__isnull=True)
                    | Q(
                        status__in=[EpisodeStatus.ACTIVE.value, EpisodeStatus.ON_HOLD.value],
                        opened_on__isnull=False,
                        closed_on__isnull=True,
                    )
                    | Q(status=EpisodeStatus.FINISHED.value, opened_on__isnull=False, closed_on__isnull=False)
                    | Q(status=EpisodeStatus.CANCELLED.value, closed_on__isnull=False)
                ),
            ),
            models.CheckConstraint(
                name="episode_closes_after_opening",
                condition=Q(closed_on__isnull=True) | Q(opened_on__isnull=True) | Q(closed_on__gte=F("opened_on")),
            ),
        ]
        triggers = fixed("organization_id", "client_id", "setting", "record_regime")

    def __str__(self) -> str:
        return f"{self.setting} episode {self.pk}"


class EpisodeChange(ScopedModel):
    """One step of an episode's status: what it was, what it became, from which day, recorded when and by whom."""

    episode = models.ForeignKey(Episode, on_delete=models.PROTECT, related_name="changes")
    from_status = models.CharField(max_length=40, blank=True, default="")
    to_status = code_field(EpisodeStatus)
    effective_on = models.DateField()
    at = models.DateTimeField()
    by = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="+")
    reason = models.CharField(max_length=500, blank=True, default="")

    class Meta(ScopedModel.Meta):
        constraints = [
            *ScopedModel.Meta.constraints,
            one_of("to_status", EpisodeStatus, name="episode_change_status_is_known"),
        ]
        triggers: list[pgtrigger.Trigger] = append_only()

    def __str__(self) -> str:
        return f"{self.from_status} to {self.to_status}"


class EpisodeDiagnosis(VersionedModel):
    """A diagnosis code that an episode is treated under, from a day to a day."""

    episode = models.ForeignKey(Episode, on_delete=models.PROTECT, related_name="diagnoses")
    code = models.CharField(max_length=8)
    rank = models.PositiveSmallIntegerField(default=1)
    starts_on = models.DateField()
    ends_on = models.DateField(null=True)

    objects = EpisodePeriodQuerySet.as_manager()

    class Meta(VersionedModel.Meta):
        constraints = [
            *VersionedModel.Meta.constraints,
            ends_after_start("episode_diagnosis_ends_after_start"),
            ExclusionConstraint(
                name="episode_diagnosis_no_overlap",
                expressions=[
                    ("episode", RangeOperators.EQUAL),
                    ("code", RangeOperators.EQUAL),
                    (DAYS, RangeOperators.OVERLAPS),
                ],
            ),
        ]

    def __str__(self) -> str:
        return self.code


class CareTeam(VersionedModel):
    """One staff member's place on an episode's care team; reach rests on these rows alone."""

    episode = models.ForeignKey(Episode, on_delete=models.PROTECT, related_name="care_team", db_index=False)
    staff = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="care_team", db_index=False)
    role = code_field(CareRole, default=CareRole.TREATING.value)
    starts_on = models.DateField()
    ends_on = models.DateField(null=True)
    source = code_field(CareSource, default=CareSource.ASSIGNED.value)
    source_id = models.UUIDField(null=True)

    objects = EpisodePeriodQuerySet.as_manager()

    class Meta(VersionedModel.Meta):
        constraints = [
            *VersionedModel.Meta.constraints,
            one_of("role", CareRole, name="care_role_is_known"),
            one_of("source", CareSource, name="care_source_is_known"),
            ends_after_start("care_team_ends_after_start"),
            models.CheckConstraint(
                name="care_team_booking_is_named",
                condition=Q(source=CareSource.ASSIGNED.value, source_id__isnull=True)
                | Q(source=CareSource.BOOKING.value, source_id__isnull=False),
            ),
            models.UniqueConstraint(
                fields=["source_id", "staff", "episode"],
                name="care_team_once_per_booking",
                condition=Q(source_id__isnull=False),
            ),
            ExclusionConstraint(
                name="care_team_assigned_no_overlap",
                expressions=[
                    ("episode", RangeOperators.EQUAL),
                    ("staff", RangeOperators.EQUAL),
                    (DAYS, RangeOperators.OVERLAPS),
                ],
                condition=Q(source=CareSource.ASSIGNED.value),
            ),
        ]
        indexes = [
            models.Index(fields=["staff", "starts_on", "ends_on"], include=["episode"], name="care_team_by_staff"),
            models.Index(fields=["episode"], name="care_team_by_episode"),
        ]

    def __str__(self) -> str:
        return f"{self.staff_id} on {self.episode_id}"
