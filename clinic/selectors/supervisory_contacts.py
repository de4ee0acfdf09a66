"""Reads of the contacts between supervisors and assistants."""

from typing import Any
from uuid import UUID

from django.db.models import Prefetch, QuerySet

from clinic.models import SupervisoryContact, SupervisoryContactClient
from clinic.rules.access import Action, Actor

ABOUT = Prefetch("clients", SupervisoryContactClient.objects.order_by("pk"))


def contacts_for(actor: Actor, action: Action = Action.SEE_CONTACTS, **equal: Any) -> QuerySet[SupervisoryContact]:
    """Contacts in which she took part (all, for an administrator), with the clients that they were about."""
    return SupervisoryContact.objects.visible_to(actor, action).filter(**equal).prefetch_related(ABOUT)


def contact_exists(row_id: UUID) -> bool:
    return SupervisoryContact.objects.filter(pk=row_id).exists()
