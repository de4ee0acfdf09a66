"""Contacts of supervisor and assistant, as facts. Whether one was direct is a rule's to say."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from clinic import outbox
from clinic.enums import Role
from clinic.errors import InvalidField, NotAllowed
from clinic.models import Episode, SupervisoryContact, SupervisoryContactClient
from clinic.rules.access import Actor
from clinic.selectors import episodes as episode_selectors
from clinic.selectors import staff as staff_selectors
from clinic.services.periods import require_role
from clinic.services.references import named


class NotAParty(NotAllowed):
    code = "not_a_party"
    title = "A contact is recorded by one of the two who had it"


@transaction.atomic
def record_contact(
    *,
    actor: Actor,
    row_id: UUID,
    assistant: UUID,
    supervisor: UUID,
    service_date: date,
    clients: list[dict[str, Any]],
    digest: str,
    now: datetime,
    **wanted: Any,
) -> SupervisoryContact:
    """Record a contact between an assistant and a therapist, with the clients that it was about."""
    if actor.staff_id not in (assistant, supervisor):
        raise NotAParty
    if assistant == supervisor:
        raise InvalidField("/supervisor", "Nobody supervises herself", code="same_person")
    helped = named(staff_selectors.colleagues(actor), assistant, member="assistant")
    answering = named(staff_selectors.colleagues(actor), supervisor, member="supervisor")
    require_role(helped, [Role.ASSISTANT], on=service_date, member="assistant")
    require_role(answering, [Role.THERAPIST], on=service_date, member="supervisor")
    episodes = _episodes(actor, [about["episode"] for about in clients])
    contact = SupervisoryContact.objects.create(
        pk=row_id,
        organization_id=actor.organization_id,
        assistant=helped,
        supervisor=answering,
        service_date=service_date,
        source=row_id,
        recorded_at=now,
        recorded_by_id=actor.staff_id,
        created_digest=digest,
        **wanted,
    )
    _record_clients(contact, clients, episodes)
    outbox.created("supervisory_contact", contact)
    outbox.record(
        "supervisory_contact.recorded",
        organization_id=contact.organization_id,
        now=now,
        contact_id=contact.pk,
        assistant_id=contact.assistant_id,
    )
    return contact


def _episodes(actor: Actor, ids: list[UUID]) -> dict[UUID, Episode]:
    """The episodes named, in reach of whoever records; the first that is not is pointed at."""
    found = episode_selectors.episodes_for(actor, pk__in=ids).in_bulk()
    for place, episode_id in enumerate(ids):
        if episode_id not in found:
            text = "There is no such episode in your reach"
            raise InvalidField(f"/clients/{place}/episode", text, code="not_found")
    return found


def _record_clients(contact: SupervisoryContact, clients: list[dict[str, Any]], episodes: dict[UUID, Episode]) -> None:
    SupervisoryContactClient.objects.bulk_create(
        SupervisoryContactClient(
            organization_id=contact.organization_id,
            contact=contact,
            client_id=episodes[about["episode"]].client_id,
            episode_id=about["episode"],
            **{name: about.get(name, False) for name in ("discussed", "present", "seen_by_therapist")},
        )
        for about in clients
    )
