"""What a therapist does to the periods of a plan of care, and to their certification."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from clinic import outbox
from clinic.errors import Conflict, InvalidField, constraint_as_error
from clinic.rules.access import Action, Actor
from clinic.services.changes import apply_changes
from goals.models import Certification, PlanPeriod
from goals.selectors import plans as selectors


class PlanPeriodsOverlap(Conflict):
    code = "plan_periods_overlap"
    title = "The episode has a plan period on some of these days"


@transaction.atomic
def plan_period(*, actor: Actor, period_id: UUID, digest: str, now: datetime, **wanted: Any) -> PlanPeriod:
    """A period of a plan of care; one that overlaps another of the episode is refused."""
    episode = selectors.episode_to_plan(actor, wanted.pop("episode"))
    if episode is None:
        raise InvalidField("/episode", "There is no such episode in your reach", code="not_found")
    if wanted["ends_on"] < wanted["starts_on"]:
        raise InvalidField("/ends_on", "A period ends on or after its first day", code="out_of_order")
    with constraint_as_error({"plan_period_no_overlap": PlanPeriodsOverlap}):
        period = PlanPeriod.objects.create(
            pk=period_id,
            organization_id=actor.organization_id,
            episode=episode,
            written_by_id=actor.person,
            created_digest=digest,
            **wanted,
        )
    outbox.created("plan_period", period, client_id=episode.client_id, episode_id=episode.pk)
    outbox.record("plan.changed", organization_id=period.organization_id, now=now, episode_id=episode.pk)
    return period


@transaction.atomic
def shorten_plan_period(*, period: PlanPeriod, ends_on: date, now: datetime) -> PlanPeriod:
    """End a period earlier, so that an amended one can follow; it never grows. The caller holds the lock."""
    if ends_on > period.ends_on:
        raise InvalidField("/ends_on", "A period is only shortened; another follows it", code="only_earlier")
    if ends_on < period.starts_on:
        raise InvalidField("/ends_on", "A period ends on or after its first day", code="out_of_order")
    apply_changes(period, {"ends_on": ends_on})
    outbox.changed("plan_period", period, client_id=period.episode.client_id, episode_id=period.episode_id)
    outbox.record("plan.changed", organization_id=period.organization_id, now=now, episode_id=period.episode_id)
    return period


@transaction.atomic
def add_certification(
    *, actor: Actor, certification_id: UUID, digest: str, now: datetime, **wanted: Any
) -> Certification:
    """A certification of a plan period: to whom it went, and what came back when."""
    period = _period(actor, wanted.pop("plan_period"))
    _require_past(actor, wanted)
    certification = Certification.objects.create(
        pk=certification_id,
        organization_id=actor.organization_id,
        plan_period=period,
        created_digest=digest,
        **wanted,
    )
    _feed(outbox.created, certification, now)
    return certification


def _period(actor: Actor, period_id: UUID) -> PlanPeriod:
    period = selectors.plan_periods_for(actor, Action.WRITE_PLANS).filter(pk=period_id).first()
    if period is None:
        raise InvalidField("/plan_period", "There is no such plan period in your reach", code="not_found")
    return period


def _require_past(actor: Actor, wanted: dict[str, Any]) -> None:
    for name, day in wanted.items():
        if name.endswith("_on") and day is not None and day > actor.today:
            raise InvalidField(f"/{name}", "The day lies in the future", code="in_the_future")


@transaction.atomic
def change_certification(*, actor: Actor, certification: Certification, now: datetime, **wanted: Any) -> Certification:
    """Note what came back from the physician. The caller holds the lock."""
    _require_past(actor, wanted)
    apply_changes(certification, wanted)
    _feed(outbox.changed, certification, now)
    return certification


def _feed(tell: Any, certification: Certification, now: datetime) -> None:
    episode = certification.plan_period.episode
    tell("certification", certification, client_id=episode.client_id, episode_id=episode.pk)
    outbox.record("plan.changed", organization_id=episode.organization_id, now=now, episode_id=episode.pk)
