"""What a court takes from a contact, and gives back."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from clinic import outbox
from clinic.errors import Conflict, constraint_as_error
from clinic.models import Client, CourtOrder
from clinic.rules.access import Action, Actor
from clinic.selectors import contacts as selectors
from clinic.services.periods import set_end
from clinic.services.references import named


class CourtOrderOverlaps(Conflict):
    code = "court_order_overlaps"
    title = "An order takes this right from this contact on some of these days already"


OVERLAPS = {"court_order_no_overlap": CourtOrderOverlaps}


@transaction.atomic
def record_court_order(
    *, actor: Actor, row_id: UUID, client: UUID, contact: UUID, digest: str, now: datetime, **wanted: Any
) -> CourtOrder:
    """Record that a court takes a right over a child from a contact; the authority itself stays as it is recorded."""
    child = named(Client.objects.visible_to(actor, Action.CHANGE_CLIENTS), client, member="client")
    person = named(selectors.contacts_beside(child), contact, member="contact")
    with constraint_as_error(OVERLAPS):
        order = CourtOrder.objects.create(
            pk=row_id,
            organization_id=actor.organization_id,
            client=child,
            contact=person,
            recorded_by_id=actor.person,
            recorded_at=now,
            created_digest=digest,
            **wanted,
        )
    outbox.created("court_order", order, client_id=child.pk)
    _tell(order, now)
    return order


@transaction.atomic
def end_court_order(*, actor: Actor, order: CourtOrder, ends_on: date | None, now: datetime) -> CourtOrder:
    """Set the last day of an order; from the next the right is there again, if it is still granted."""
    set_end(order, ends_on, overlaps=OVERLAPS)
    outbox.changed("court_order", order, client_id=order.client_id)
    _tell(order, now)
    return order


def _tell(order: CourtOrder, now: datetime) -> None:
    outbox.record(
        "court_order.changed",
        organization_id=order.organization_id,
        now=now,
        court_order_id=order.pk,
        contact_id=order.contact_id,
        client_id=order.client_id,
    )
