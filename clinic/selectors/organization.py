"""Reads of the organization itself, its sites and its rooms."""

from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from clinic.models import Organization, Room, Site
from clinic.rules.access import Action, Actor
from clinic.selectors.rows import one


def organization_of(actor: Actor, *, lock: bool = False) -> Organization:
    return one(Organization.objects.filter(pk=actor.organization_id), actor.organization_id, lock=lock)


def sites_for(actor: Actor, action: Action = Action.SEE_ORGANIZATION) -> QuerySet[Site]:
    return Site.objects.visible_to(actor, action)


def site_exists(row_id: UUID) -> bool:
    return Site.objects.filter(pk=row_id).exists()


def rooms_for(actor: Actor, action: Action = Action.SEE_ORGANIZATION, **equal: Any) -> QuerySet[Room]:
    return Room.objects.visible_to(actor, action).filter(**equal)


def room_exists(row_id: UUID) -> bool:
    return Room.objects.filter(pk=row_id).exists()
