"""Reads of children, already scoped to who asks."""

from typing import Any
from uuid import UUID

from django.db.models import Exists, OuterRef, QuerySet

from clinic.errors import NotFound
from clinic.models import Client, Site
from clinic.rules.access import Action, Actor


def clients_for(actor: Actor, action: Action = Action.SEE_CLIENTS) -> QuerySet[Any]:
    """Children in her reach, each with whether she is told how early it was born."""
    told = Client.objects.visible_to(actor, Action.SEE_AGES).filter(pk=OuterRef("pk"))
    return Client.objects.visible_to(actor, action).select_related("home_site").annotate(birth_told=Exists(told))


def client_for(actor: Actor, client_id: UUID, action: Action = Action.SEE_CLIENTS, *, lock: bool = False) -> Client:
    """One child in reach for this action, or NotFound."""
    rows = clients_for(actor, action)
    if lock:
        rows = rows.select_for_update(of=("self",), no_key=True)
    row = rows.filter(pk=client_id).first()
    if row is None:
        raise NotFound
    return row


def client_exists(client_id: UUID) -> bool:
    return Client.objects.filter(pk=client_id).exists()


def site_for(actor: Actor, site_id: UUID) -> Site | None:
    return Site.objects.of(actor).filter(pk=site_id).first()
