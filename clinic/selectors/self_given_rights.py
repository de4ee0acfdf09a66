"""Reads of rights that somebody gave to herself, and of who is to know of one."""

from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from clinic.models import SelfGivenRight, StaffRole
from clinic.rules.access import Action, Actor
from clinic.selectors.staff import administrators


def self_given_rights_for(actor: Actor, **equal: Any) -> QuerySet[SelfGivenRight]:
    return (
        SelfGivenRight.objects.visible_to(actor, Action.SEE_SELF_GIVEN_RIGHTS).filter(**equal).select_related("episode")
    )


def watchers(organization_id: UUID, *, apart_from: UUID, today: date) -> set[UUID]:
    """The other administrators; where there is none, everybody else at work."""
    others = administrators(organization_id, today=today) - {apart_from}
    if others:
        return others
    rows = StaffRole.objects.in_force(today).filter(organization_id=organization_id)
    return set(rows.values_list("staff_id", flat=True)) - {apart_from}
