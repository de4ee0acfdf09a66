"""Writes the trail: one event a request, one statement, before the answer leaves."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import connection
from django.utils.crypto import salted_hmac
from uuid_utils.compat import uuid7

from clinic.enums import AccountAction, Outcome
from clinic.rules.access import Actor

EVENT = """
INSERT INTO clinic_auditevent (id, organization_id, at, actor_id, roles, application, action, method, route,
    subject_id, outcome, status, code, reason, address, request_id, client_ids, episode_ids)
VALUES (%s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s::uuid[], %s::uuid[])"""
ACCOUNT = """
INSERT INTO clinic_accountevent (id, at, user_id, named, application, action, method, route, outcome, status, code,
    address, request_id)
VALUES (%s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s)"""
# The code of an event that gave a kept answer once more: it did nothing anew.
REPLAYED = "replayed"


def outcome_of(status: int) -> Outcome:
    if status < 400:
        return Outcome.DONE
    return Outcome.REFUSED if status < 500 else Outcome.FAILED


@dataclass
class Event:
    """What is told of one request: ids and verbs, never a name or a text."""

    at: datetime
    action: str
    method: str
    route: str
    request_id: str
    address: str | None = None
    subject_id: UUID | None = None
    outcome: Outcome = Outcome.DONE
    status: int = 200
    code: str = ""
    reason: str = ""
    touched: set[tuple[UUID, UUID | None]] = field(default_factory=set)


def write(actor: Actor, event: Event) -> None:
    """Add the event, with each client whose record it touched, in one statement."""
    touched = sorted(event.touched, key=str)
    values: list[Any] = [
        uuid7(),
        actor.organization_id,
        event.at,
        actor.staff_id,
        sorted(actor.roles),
        actor.application,
        event.action,
        event.method,
        event.route,
        event.subject_id,
        event.outcome.value,
        event.status,
        event.code[:60],
        event.reason,
        event.address,
        event.request_id,
        _array(client for client, _ in touched),
        _array(episode for _, episode in touched),
    ]
    with connection.cursor() as cursor:
        cursor.execute(EVENT, values)


def _array(ids: Iterable[UUID | None]) -> str:
    """An array as the database writes it: fifty children need no hundred parameters."""
    return "{" + ",".join("NULL" if one is None else str(one) for one in ids) + "}"


@dataclass
class AccountEvent:
    """What is told of a request that has no place at work behind it: who signed in, or who could not be made out."""

    at: datetime
    action: AccountAction
    status: int
    method: str = ""
    route: str = ""
    request_id: str = ""
    outcome: Outcome = Outcome.DONE
    user_id: UUID | None = None
    name: str = ""
    application: str = ""
    code: str = ""
    address: str | None = None


def write_account(event: AccountEvent) -> None:
    """Add the event in one statement. The name that was typed is kept as a digest that only this service can make."""
    values: list[Any] = [
        uuid7(),
        event.at,
        event.user_id,
        named(event.name),
        event.application[:100],
        event.action.value,
        event.method[:10],
        event.route[:200],
        event.outcome.value,
        event.status,
        event.code[:60],
        event.address,
        event.request_id,
    ]
    with connection.cursor() as cursor:
        cursor.execute(ACCOUNT, values)


def named(name: str) -> str:
    """The same for the same name, however its letters are written; nothing for none."""
    return salted_hmac("clinic.audit.named", name.casefold(), algorithm="sha256").hexdigest() if name else ""
