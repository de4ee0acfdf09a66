"""The people who work there: roles, hours, licences, and the PIN that signs."""

from django.conf import settings
from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import RangeOperators
from django.db import models
from django.db.models import F, Q

from clinic.enums import CredentialKind, Role
from clinic.models.base import (
    DAYS,
    PeriodQuerySet,
    VersionedModel,
    code_field,
    ends_after_start,
    one_of,
)


class Staff(VersionedModel):
    """A person at work in one organization. `left_on` is her last day there."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="staff", null=True)
    printed_name = models.CharField(max_length=200)
    joined_on = models.DateField(null=True)
    left_on = models.DateField(null=True)

    class Meta(VersionedModel.Meta):
        constraints = [
            *VersionedModel.Meta.constraints,
            models.UniqueConstraint(
                fields=["organization", "user"],
                name="staff_once_per_organization",
                condition=Q(user__isnull=False),
            ),
            models.CheckConstraint(
                name="staff_leaves_after_joining",
                condition=Q(left_on__isnull=True) | Q(joined_on__isnull=True) | Q(left_on__gte=F("joined_on")),
            ),
        ]

    def __str__(self) -> str:
        return f"staff {self.pk}"


class StaffRole(VersionedModel):
    """One role of one person, from a day to a day."""

    staff = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="roles")
    role = code_field(Role)
    starts_on = models.DateField()
    ends_on = models.DateField(null=True)

    objects = PeriodQuerySet.as_manager()

    class Meta(VersionedModel.Meta):
        constraints = [
            *VersionedModel.Meta.constraints,
            one_of("role", Role, name="staff_role_is_known"),
            ends_after_start("staff_role_ends_after_start"),
            ExclusionConstraint(
                name="staff_role_no_overlap",
                expressions=[
                    ("staff", RangeOperators.EQUAL),
                    ("role", RangeOperators.EQUAL),
                    (DAYS, RangeOperators.OVERLAPS),
                ],
            ),
        ]

    def __str__(self) -> str:
        return f"{self.role} from {self.starts_on}"


class ContractedHours(VersionedModel):
    """Minutes a week that a person is contracted for, from a day to a day."""

    staff = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="contracted_hours")
    minutes_a_week = models.PositiveIntegerField()
    starts_on = models.DateField()
    ends_on = models.DateField(null=True)

    objects = PeriodQuerySet.as_manager()

    class Meta(VersionedModel.Meta):
        constraints = [
            *VersionedModel.Meta.constraints,
            ends_after_start("contracted_hours_end_after_start"),
            models.CheckConstraint(name="contracted_hours_fit_a_week", condition=Q(minutes_a_week__lte=7 * 24 * 60)),
            ExclusionConstraint(
                name="contracted_hours_no_overlap",
                expressions=[("staff", RangeOperators.EQUAL), (DAYS, RangeOperators.OVERLAPS)],
            ),
        ]

    def __str__(self) -> str:
        return f"{self.minutes_a_week} min a week from {self.starts_on}"


class Credential(VersionedModel):
    """A licence: what, where, until when."""

    staff = models.ForeignKey(Staff, on_delete=models.PROTECT, related_name="credentials")
    kind = code_field(CredentialKind)
    abbreviation = models.CharField(max_length=20)
    jurisdiction = models.CharField(max_length=10)
    number = models.CharField(max_length=60)
    starts_on = models.DateField()
    expires_on = models.DateField(null=True)

    class Meta(VersionedModel.Meta):
        constraints = [
            *VersionedModel.Meta.constraints,
            one_of("kind", CredentialKind, name="credential_kind_is_known"),
            models.UniqueConstraint(
                fields=["organization", "kind", "jurisdiction", "number", "starts_on"],
                name="credential_number_once",
            ),
            models.CheckConstraint(
                name="credential_expires_after_start",
                condition=Q(expires_on__isnull=True) | Q(expires_on__gte=F("starts_on")),
            ),
        ]
        indexes = [models.Index(fields=["expires_on"], name="credential_by_expiry")]

    def __str__(self) -> str:
        return f"{self.kind} in {self.jurisdiction}"


class SigningPin(models.Model):
    """The hash of a person's signing PIN, with the misses that lock it."""

    staff = models.OneToOneField(Staff, on_delete=models.PROTECT, primary_key=True, related_name="signing_pin")
    organization = models.ForeignKey("clinic.Organization", on_delete=models.PROTECT, related_name="+", db_index=False)
    hash = models.CharField(max_length=200)
    misses = models.PositiveSmallIntegerField(default=0)
    locked_until = models.DateTimeField(null=True)
    changed_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"PIN of {self.staff_id}"
