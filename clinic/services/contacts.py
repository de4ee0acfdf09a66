"""The people beside a child: who they are, and what they may decide, know or do."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from clinic import outbox
from clinic.errors import Conflict, constraint_as_error
from clinic.models import Client, Contact, ContactAuthority
from clinic.rules.access import Action, Actor
from clinic.selectors import contacts as selectors
from clinic.services.changes import apply_changes
from clinic.services.periods import set_end
from clinic.services.references import named


class AuthorityOverlaps(Conflict):
    code = "authority_overlaps"
    title = "This contact has this authority over the child on some of these days already"


OVERLAPS = {"contact_authority_no_overlap": AuthorityOverlaps}


@transaction.atomic
def enter_contact(*, actor: Actor, row_id: UUID, digest: str, **wanted: Any) -> Contact:
    """Enter a person; an authority puts her beside a child."""
    contact = Contact.objects.create(
        pk=row_id,
        organization_id=actor.organization_id,
        entered_by_id=actor.staff_id,
        created_digest=digest,
        **wanted,
    )
    outbox.created("contact", contact)
    return contact


@transaction.atomic
def change_contact(*, actor: Actor, contact: Contact, **wanted: Any) -> Contact:
    """Change how a person is called and reached."""
    apply_changes(contact, wanted)
    children: set[UUID | None] = {authority.client_id for authority in contact.authorities.all()}
    for client_id in children or {None}:
        outbox.changed("contact", contact, client_id=client_id)
    return contact


@transaction.atomic
def grant_authority(
    *, actor: Actor, row_id: UUID, contact: UUID, client: UUID, digest: str, now: datetime, **wanted: Any
) -> ContactAuthority:
    """Put a contact beside a child, with one thing that she may decide, know or do."""
    child = named(Client.objects.visible_to(actor, Action.CHANGE_CLIENTS), client, member="client")
    person = named(selectors.contacts_for(actor, Action.CHANGE_CLIENTS), contact, member="contact")
    with constraint_as_error(OVERLAPS):
        authority = ContactAuthority.objects.create(
            pk=row_id,
            organization_id=actor.organization_id,
            contact=person,
            client=child,
            created_digest=digest,
            **wanted,
        )
    outbox.created("contact_authority", authority, client_id=child.pk)
    _tell(authority, now)
    return authority


@transaction.atomic
def end_authority(
    *, actor: Actor, authority: ContactAuthority, ends_on: date | None, now: datetime
) -> ContactAuthority:
    """Set the last day of an authority, as a court may order."""
    set_end(authority, ends_on, overlaps=OVERLAPS)
    outbox.changed("contact_authority", authority, client_id=authority.client_id)
    _tell(authority, now)
    return authority


def _tell(authority: ContactAuthority, now: datetime) -> None:
    outbox.record(
        "contact_authority.changed",
        organization_id=authority.organization_id,
        now=now,
        contact_id=authority.contact_id,
        client_id=authority.client_id,
    )
