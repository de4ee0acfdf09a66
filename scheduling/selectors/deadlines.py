"""Deadlines in reach, with the day that it is where each episode's site is."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db.models import DateField, DateTimeField, F, Func, QuerySet, Value
from django.db.models.functions import Cast, Coalesce

from clinic.enums import Setting
from clinic.models import Episode
from clinic.rules.access import Action, Actor
from clinic.selectors.rows import one
from scheduling.deadlines.states import State
from scheduling.enums import DeadlineOutcome
from scheduling.models import Deadline, ReportingPeriod

OPEN = {State.UPCOMING: "gt", State.DUE: "exact", State.OVERDUE: "lt"}


def deadlines_for(actor: Actor, *, now: datetime, **asked: Any) -> QuerySet[Any]:
    """What is or was due in the actor's reach.

    `site_today` is the day at each one's site; `foreseen_on` the day due, or expected, or the last of all days.
    """
    local = Func(F("episode__site__time_zone"), Value(now), function="timezone", output_field=DateTimeField())
    rows = (
        Deadline.objects.visible_to(actor, Action.SEE_DEADLINES)
        .select_related("rule", "episode__organization")
        .annotate(
            site_today=Cast(local, DateField()),
            foreseen_on=Coalesce("due_on", "expected_on", Value(date.max, DateField())),
        )
    )
    filters: dict[str, Any] = {name: asked[name] for name in ("episode", "client") if name in asked}
    if "rule" in asked:
        filters["rule__code"] = asked["rule"]
    if "due_until" in asked:
        filters["due_on__lte"] = asked["due_until"]
    if asked.get("mine"):
        filters["responsible_id"] = actor.staff_id
    rows = rows.filter(**filters)
    return _in_state(rows, State(asked["state"])) if "state" in asked else rows


def _in_state(rows: QuerySet[Any], state: State) -> QuerySet[Any]:
    if state not in OPEN:
        return rows.filter(outcome=state.value)
    rows = rows.filter(outcome=DeadlineOutcome.OPEN.value)
    if state == State.UPCOMING:
        return rows.exclude(due_on__lte=F("site_today"))
    return rows.filter(**{f"due_on__{OPEN[state]}": F("site_today")})


def deadline_for(actor: Actor, deadline_id: UUID, *, now: datetime) -> Deadline:
    return one(deadlines_for(actor, now=now), deadline_id)


def reporting_periods_for(actor: Actor, action: Action = Action.SEE_ORGANIZATION, **asked: Any) -> QuerySet[Any]:
    rows: Any = ReportingPeriod.objects.visible_to(actor, action)
    if "on" in asked:
        rows = rows.in_force(asked["on"])
    return rows.filter(site=asked["site"]) if "site" in asked else rows


def reporting_period_for(actor: Actor, period_id: UUID, *, lock: bool = False) -> ReportingPeriod:
    action = Action.CHANGE_ORGANIZATION if lock else Action.SEE_ORGANIZATION
    return one(reporting_periods_for(actor, action), period_id, lock=lock)


def reporting_period_exists(period_id: UUID) -> bool:
    return ReportingPeriod.objects.filter(pk=period_id).exists()


def school_episodes_at(site_id: UUID) -> list[UUID]:
    """Episodes of a site that its report cards concern."""
    rows = Episode.objects.filter(site=site_id, setting=Setting.SCHOOL.value, opened_on__isnull=False)
    return list(rows.values_list("pk", flat=True))
