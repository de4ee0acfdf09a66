"""Reads of plan periods and their certifications, already scoped to who asks."""

from uuid import UUID

from django.db.models import QuerySet

from clinic.errors import NotFound
from clinic.models import Episode
from clinic.rules.access import Action, Actor
from goals.models import Certification, PlanPeriod


def plan_periods_for(actor: Actor, action: Action = Action.SEE_PLANS) -> QuerySet[PlanPeriod]:
    """Plan periods of episodes in her reach."""
    return PlanPeriod.objects.visible_to(actor, action).select_related("episode")


def plan_period_for(
    actor: Actor, period_id: UUID, action: Action = Action.SEE_PLANS, *, lock: bool = False
) -> PlanPeriod:
    """One plan period in reach for this action, or NotFound."""
    rows = plan_periods_for(actor, action)
    if lock:
        rows = rows.select_for_update(of=("self",), no_key=True)
    row = rows.filter(pk=period_id).first()
    if row is None:
        raise NotFound
    return row


def plan_period_exists(period_id: UUID) -> bool:
    return PlanPeriod.objects.filter(pk=period_id).exists()


def episode_to_plan(actor: Actor, episode_id: UUID) -> Episode | None:
    return Episode.objects.visible_to(actor, Action.WRITE_PLANS).filter(pk=episode_id).first()


def certifications_for(actor: Actor, action: Action = Action.SEE_PLANS) -> QuerySet[Certification]:
    """Certifications of plan periods in her reach."""
    return Certification.objects.visible_to(actor, action).select_related("plan_period__episode")


def certification_for(
    actor: Actor, certification_id: UUID, action: Action = Action.SEE_PLANS, *, lock: bool = False
) -> Certification:
    """One certification in reach for this action, or NotFound."""
    rows = certifications_for(actor, action)
    if lock:
        rows = rows.select_for_update(of=("self",), no_key=True)
    row = rows.filter(pk=certification_id).first()
    if row is None:
        raise NotFound
    return row


def certification_exists(certification_id: UUID) -> bool:
    return Certification.objects.filter(pk=certification_id).exists()
