"""Reads of the people beside a child, of what they may decide, and of what was consented to."""

from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import Exists, OuterRef, Prefetch, QuerySet

from clinic.enums import AuthorityKind, ConsentKind, RecordRegime
from clinic.models import Client, Consent, Contact, ContactAuthority, CourtOrder
from clinic.rules.access import Action, Actor
from clinic.rules.authorities import Span, Standing, standings
from clinic.rules.consents import may_consent

WHO_DECIDED = [f"{who}__{what}" for who in ("given_by", "revoked_by") for what in ("authorities", "court_orders")]


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


def held_over(contact: Contact, client_id: UUID, *, on: date) -> frozenset[AuthorityKind]:
    """What this contact may decide, know or do for the child on a day, less what a court took away."""
    granted = [row for row in contact.authorities.all() if row.client_id == client_id]
    taken = [row for row in contact.court_orders.all() if row.client_id == client_id]
    found = standings(on, granted=map(granted_span, granted), taken=map(taken_span, taken))
    return found.get(contact.pk, Standing()).held


def granted_span(row: ContactAuthority) -> Span:
    return Span(row.contact_id, AuthorityKind(row.kind), row.starts_on, row.ends_on)


def taken_span(row: CourtOrder) -> Span:
    return Span(row.contact_id, AuthorityKind(row.right), row.starts_on, row.ends_on)


@dataclass(frozen=True)
class Beside:
    """One contact beside a child on a day: who she is to the child, and what she may."""

    contact: Contact
    relationships: list[str]
    standing: Standing


def beside_on(child: Client, day: date) -> list[Beside]:
    """Everybody who stands beside this child on a day, whom the caller has found in reach; by name."""
    rows = list(ContactAuthority.objects.in_force(day).filter(client=child).select_related("contact"))
    orders = CourtOrder.objects.in_force(day).filter(client=child)
    found = standings(day, granted=map(granted_span, rows), taken=map(taken_span, orders))
    people = {row.contact_id: row.contact for row in rows}
    words = {pk: sorted({row.relationship for row in rows if row.contact_id == pk}) for pk in people}
    beside = [Beside(people[pk], words[pk], standing) for pk, standing in found.items()]
    return sorted(beside, key=lambda one: (one.contact.name, one.contact.pk))


def court_orders_for(
    actor: Actor, action: Action = Action.SEE_CLIENTS, *, on: date | None = None, **equal: Any
) -> QuerySet[CourtOrder]:
    """Orders that take a right away, over children in reach, on a day or ever."""
    rows: Any = CourtOrder.objects.visible_to(actor, action).filter(**equal)
    return rows.in_force(on) if on else rows


def court_order_exists(row_id: UUID) -> bool:
    return CourtOrder.objects.filter(pk=row_id).exists()


def consents_for(
    actor: Actor, action: Action = Action.SEE_CONSENTS, *, on: date | None = None, **equal: Any
) -> QuerySet[Consent]:
    """Consents for children and episodes in reach, those that hold on a day or all, with who may decide."""
    rows = Consent.objects.visible_to(actor, action).filter(**equal)
    rows = rows.select_related("episode").prefetch_related(*WHO_DECIDED)
    return rows.in_force(on) if on else rows


def given_with_authority(consent: Consent) -> bool:
    """Whether, by what is recorded now, whoever gave it could decide on its first day."""
    regime = RecordRegime(consent.episode.record_regime) if consent.episode else None
    held = held_over(consent.given_by, consent.client_id, on=consent.starts_on)
    return may_consent(ConsentKind(consent.kind), held, regime=regime)


def consent_exists(row_id: UUID) -> bool:
    return Consent.objects.filter(pk=row_id).exists()
