"""Reads for emergencies: which child is meant, what its safety rests on, and who is concerned."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import reduce
from operator import and_
from typing import Any
from uuid import UUID

from django.db.models import Q, QuerySet

from clinic.enums import AuthorityKind, PrecautionKind
from clinic.models import Client, EmergencyAccess, Precaution
from clinic.rules.access import Action, Actor
from clinic.selectors.contacts import Beside, beside_on
from clinic.selectors.rows import one

SHOWN_AT_MOST = 10
TO_EXPLAIN_WITHIN = timedelta(hours=24)
FIRST = (PrecautionKind.SEIZURE_PLAN, PrecautionKind.SEIZURE, PrecautionKind.ALLERGY)


def accesses_for(actor: Actor, *, explained: bool | None = None, **equal: Any) -> QuerySet[EmergencyAccess]:
    """Emergency accesses that she made, and those to children in her reach; all, for an administrator."""
    rows = EmergencyAccess.objects.visible_to(actor, Action.SEE_EMERGENCIES).filter(**equal)
    return rows if explained is None else rows.filter(reason__isnull=not explained)


def own_access(actor: Actor, access_id: UUID, *, lock: bool = False) -> EmergencyAccess:
    """One that she made herself, or NotFound."""
    rows = EmergencyAccess.objects.of(actor).filter(opened_by_id=actor.person)
    return one(rows, access_id, lock=lock)


def access_in_force(actor: Actor, access_id: UUID, now: datetime) -> EmergencyAccess:
    """One of hers whose hour is not over, or NotFound."""
    rows = EmergencyAccess.objects.of(actor).filter(opened_by_id=actor.person, ends_at__gt=now)
    return one(rows.select_related("client"), access_id)


def any_child(actor: Actor) -> QuerySet[Client]:
    """Every child of the organization: in an emergency nobody asks whose she is."""
    return Client.objects.visible_to(actor, Action.OPEN_IN_EMERGENCY)


def children_called(actor: Actor, name: str) -> list[Client]:
    """Children in one of whose names each of these words stands, the first ten by name."""
    words = [_in_a_name(word) for word in name.split()]
    rows = any_child(actor).filter(reduce(and_, words, Q()))
    return list(rows.order_by("family_name", "given_name", "pk")[:SHOWN_AT_MOST])


def _in_a_name(word: str) -> Q:
    return Q(given_name__icontains=word) | Q(preferred_name__icontains=word) | Q(family_name__icontains=word)


@dataclass(frozen=True)
class Card:
    """What one child's safety rests on, on a day."""

    client: Client
    precautions: list[Precaution]
    contacts_are: AuthorityKind
    contacts: list[Beside]


def card_of(child: Client, day: date) -> Card:
    """Precautions to heed, what a seizure or an allergy asks for first, and whom to call.

    Where no emergency contact is recorded, whoever may consent to care stands in.
    """
    heeded = Precaution.objects.filter(client=child).live_on(day)
    beside = beside_on(child, day)
    for right in (AuthorityKind.EMERGENCY_CONTACT, AuthorityKind.CONSENT_TO_CARE):
        contacts = [person for person in beside if right in person.standing.held]
        if contacts:
            break
    return Card(child, sorted(heeded, key=_urgency), right, contacts)


def _urgency(precaution: Precaution) -> tuple[int, date, UUID]:
    kind = PrecautionKind(precaution.kind)
    return FIRST.index(kind) if kind in FIRST else len(FIRST), precaution.starts_on, precaution.pk


def overdue_explanations(now: datetime) -> QuerySet[EmergencyAccess]:
    """Accesses for which no reason was given within a day; not scoped, since nobody asks."""
    rows = EmergencyAccess.objects.filter(reason__isnull=True, begun_at__lte=now - TO_EXPLAIN_WITHIN)
    return rows.select_related("organization").order_by("pk")
