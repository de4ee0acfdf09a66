"""Reads of the people beside a child, of what they may decide, and of what was consented to."""

from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import Exists, OuterRef, Prefetch, QuerySet

from clinic.enums import AuthorityKind
from clinic.models import Client, Consent, Contact, ContactAuthority
from clinic.rules.access import Action, Actor


def contacts_for(actor: Actor, action: Action = Action.SEE_CLIENTS, *, client: UUID | None = None) -> QuerySet[Contact]:
    """People beside children in reach, or beside one of them, with the authorities that put them there."""
    reached = ContactAuthority.objects.visible_to(actor, action)
    rows = Contact.objects.visible_to(actor, action).prefetch_related(Prefetch("authorities", reached))
    if client is None:
        return rows
    return rows.filter(Exists(reached.filter(contact=OuterRef("pk"), client=client)))


def contact_exists(row_id: UUID) -> bool:
    return Contact.objects.filter(pk=row_id).exists()


def authorities_for(
    actor: Actor, action: Action = Action.SEE_CLIENTS, *, on: date | None = None, **equal: Any
) -> QuerySet[ContactAuthority]:
    """What contacts may decide, know or do for children in reach, on a day or ever."""
    rows: Any = ContactAuthority.objects.visible_to(actor, action).filter(**equal)
    return rows.in_force(on) if on else rows


def authority_exists(row_id: UUID) -> bool:
    return ContactAuthority.objects.filter(pk=row_id).exists()


def contacts_beside(child: Client) -> QuerySet[Contact]:
    """People beside this child, whom the caller has found in reach."""
    return Contact.objects.filter(Exists(ContactAuthority.objects.filter(contact=OuterRef("pk"), client=child)))


def held_over(contact: Contact, client_id: UUID, *, on: date) -> set[AuthorityKind]:
    """The authorities that this contact has over the child on a day."""
    rows = ContactAuthority.objects.in_force(on).filter(contact=contact, client=client_id)
    return {AuthorityKind(kind) for kind in rows.values_list("kind", flat=True)}


def consents_for(
    actor: Actor, action: Action = Action.SEE_CONSENTS, *, on: date | None = None, **equal: Any
) -> QuerySet[Consent]:
    """Consents for children and episodes in reach, those that hold on a day or all."""
    rows = Consent.objects.visible_to(actor, action).filter(**equal)
    return rows.in_force(on) if on else rows


def consent_exists(row_id: UUID) -> bool:
    return Consent.objects.filter(pk=row_id).exists()
