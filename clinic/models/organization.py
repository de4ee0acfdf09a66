"""Whose record it is, and where the work is done."""

from uuid import UUID

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import Q
from uuid_utils.compat import uuid7

from clinic.models.base import ScopedModel, VersionedModel
from clinic.rules.passwords import normalized


class User(AbstractUser):
    """A login. It belongs to no organization: the staff rows that point to it do."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)

    def set_password(self, raw_password: str | None) -> None:
        super().set_password(raw_password and normalized(raw_password))

    def check_password(self, raw_password: str) -> bool:
        return super().check_password(normalized(raw_password))


class Organization(models.Model):
    """Whose record it is: a practice, a district, an agency."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    name = models.CharField(max_length=200)
    time_zone = models.CharField(max_length=64)
    country = models.CharField(max_length=2)
    subdivision = models.CharField(max_length=10, blank=True, default="")
    sign_within_business_days = models.PositiveSmallIntegerField(default=2)
    cosign_within_days = models.PositiveSmallIntegerField(default=7)
    cosignature_required = models.BooleanField(default=True)
    corrected_age_until_months = models.PositiveSmallIntegerField(default=24)
    care_team_days_before_booking = models.PositiveSmallIntegerField(default=7)
    version = models.PositiveIntegerField(default=1)

    def __str__(self) -> str:
        return self.name

    @property
    def organization_id(self) -> UUID:
        """Its own: the feed of changes asks every row."""
        return self.pk


class Site(VersionedModel):
    """A place of work with a zone of its own; rules and holidays hang on its country and subdivision."""

    name = models.CharField(max_length=200)
    time_zone = models.CharField(max_length=64)
    country = models.CharField(max_length=2)
    subdivision = models.CharField(max_length=10, blank=True, default="")

    class Meta(VersionedModel.Meta):
        constraints = [
            *VersionedModel.Meta.constraints,
            models.UniqueConstraint(fields=["organization", "name"], name="site_name_once_per_organization"),
        ]

    def __str__(self) -> str:
        return self.name


class Room(VersionedModel):
    """A bookable space with a number of places."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="rooms")
    name = models.CharField(max_length=200)
    places = models.PositiveSmallIntegerField(default=1)

    class Meta(VersionedModel.Meta):
        constraints = [
            *VersionedModel.Meta.constraints,
            models.UniqueConstraint(fields=["site", "name"], name="room_name_once_per_site"),
            models.CheckConstraint(name="room_has_a_place", condition=Q(places__gte=1)),
        ]

    def __str__(self) -> str:
        return self.name


class DiagnosisCode(models.Model):
    """One ICD-10-CM code and the days on which it could be reported; reference data, the same for everybody."""

    id = models.BigAutoField(primary_key=True)
    code = models.CharField(max_length=8)
    title = models.CharField(max_length=300)
    billable = models.BooleanField()
    valid_from = models.DateField()
    valid_until = models.DateField(null=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["code", "valid_from"], name="diagnosis_code_once_per_start")]

    def __str__(self) -> str:
        return self.code


__all__ = ["DiagnosisCode", "Organization", "Room", "ScopedModel", "Site", "User"]
