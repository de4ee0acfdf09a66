"""What every table of the record shares: whose it is, its key, its version, its days."""

from collections.abc import Iterable
from datetime import date
from enum import StrEnum
from typing import Any

from django.contrib.postgres.fields import DateRangeField
from django.db import models
from django.db.models import F, Func, Q, Value
from uuid_utils.compat import uuid7

from clinic.models.reach import ClientRowQuerySet, ReachQuerySet, ScopedQuerySet

DAYS = Func(F("starts_on"), F("ends_on"), Value("[]"), function="DATERANGE", output_field=DateRangeField())


def choices(words: type[StrEnum]) -> list[tuple[str, str]]:
    return [(word.value, word.value.replace("_", " ")) for word in words]


def code_field(words: type[StrEnum], **options: Any) -> models.CharField:
    """A column that holds one word of a list; the table refuses any other (see `one_of`)."""
    return models.CharField(max_length=40, choices=choices(words), **options)


def one_of(field: str, words: Iterable[str], *, name: str, null: bool = False) -> models.CheckConstraint:
    condition = Q(**{f"{field}__in": [str(word) for word in words]})
    filled = Q(**{f"{field}__isnull": False}) & condition
    return models.CheckConstraint(name=name, condition=(filled | Q(**{f"{field}__isnull": True})) if null else filled)


def ends_after_start(name: str) -> models.CheckConstraint:
    return models.CheckConstraint(name=name, condition=Q(ends_on__isnull=True) | Q(ends_on__gte=F("starts_on")))


class ScopedModel(models.Model):
    """A row that belongs to one organization; its keys to other rows carry the organization along."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    organization = models.ForeignKey("clinic.Organization", on_delete=models.PROTECT, related_name="+", db_index=False)

    objects = ScopedQuerySet.as_manager()

    class Meta:
        abstract = True
        constraints = [
            models.UniqueConstraint(fields=["organization", "id"], name="%(app_label)s_%(class)s_key_with_organization")
        ]


class VersionedModel(ScopedModel):
    """A row that people change: its version is its ETag, its digest tells a repeated PUT from another."""

    version = models.PositiveIntegerField(default=1)
    created_digest = models.CharField(max_length=64, blank=True, default="")
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta(ScopedModel.Meta):
        abstract = True


class PeriodQuerySet(ScopedQuerySet):
    """Rows that hold from a day to a day, both included; no last day means still."""

    def in_force(self, day: date) -> "PeriodQuerySet":
        return self.filter(Q(ends_on__isnull=True) | Q(ends_on__gte=day), starts_on__lte=day)


class EpisodePeriodQuerySet(ReachQuerySet, PeriodQuerySet):
    """Periods of an episode, reached as the episode is."""


class ClientPeriodQuerySet(ClientRowQuerySet, PeriodQuerySet):
    """Periods of a child, reached as the child is."""
