"""A school's reporting periods: at the end of each its report cards go home, and a progress report is due."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from clinic import outbox
from clinic.errors import Conflict, InvalidField, constraint_as_error
from clinic.models import Site
from clinic.rules.access import Actor
from clinic.services.changes import apply_changes
from scheduling.models import ReportingPeriod


class ReportingPeriodsOverlap(Conflict):
    code = "reporting_periods_overlap"
    title = "The site has a reporting period on some of these days"


OVERLAPS = {"reporting_period_no_overlap": ReportingPeriodsOverlap}


@transaction.atomic
def add(*, actor: Actor, period_id: UUID, digest: str, now: datetime, **wanted: Any) -> ReportingPeriod:
    """A reporting period of a site; one that overlaps another of it is refused."""
    site = Site.objects.filter(organization_id=actor.organization_id, pk=wanted.pop("site")).first()
    if site is None:
        raise InvalidField("/site", "There is no such site", code="not_found")
    _in_order(wanted["starts_on"], wanted["ends_on"])
    with constraint_as_error(OVERLAPS):
        period = ReportingPeriod.objects.create(
            pk=period_id, organization_id=actor.organization_id, site=site, created_digest=digest, **wanted
        )
    outbox.created("reporting_period", period)
    _tell(period, now)
    return period


@transaction.atomic
def change(*, period: ReportingPeriod, now: datetime, **wanted: Any) -> ReportingPeriod:
    """Another name or other days; what is due by them follows. The caller holds the lock."""
    _in_order(wanted.get("starts_on", period.starts_on), wanted.get("ends_on", period.ends_on))
    with constraint_as_error(OVERLAPS):
        apply_changes(period, wanted)
    outbox.changed("reporting_period", period)
    _tell(period, now)
    return period


def _in_order(starts_on: date, ends_on: date) -> None:
    if ends_on < starts_on:
        raise InvalidField("/ends_on", "A period ends on or after its first day", code="out_of_order")


def _tell(period: ReportingPeriod, now: datetime) -> None:
    outbox.record("school_calendar.changed", organization_id=period.organization_id, now=now, site_id=period.site_id)
