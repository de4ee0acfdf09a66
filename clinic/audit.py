"""Writes the trail: one event a request, one statement, before the answer leaves."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from ipaddress import IPv4Address, IPv6Address, ip_address
from typing import Any
from uuid import UUID

from django.conf import settings
from django.db import connection
from django.utils.crypto import salted_hmac
from uuid_utils.compat import uuid7

from clinic.enums import AccountAction, Outcome
from clinic.rules.access import Actor
from clinic.rules.seals import event_mac

# Every column of an event but its mark, in the order in which the mark says them.
EVENT_COLUMNS = (
    "id, organization_id, at, actor_id, roles, application, action, method, route, subject_id, outcome, status, code, "
    "reason, address, request_id, client_ids, episode_ids"
)
ACCOUNT_COLUMNS = (
    "id, at, user_id, named, application, action, method, route, outcome, status, code, address, request_id"
)
EVENT = f"""
INSERT INTO clinic_auditevent ({EVENT_COLUMNS}, mac)
VALUES (%s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s::uuid[], %s::uuid[], %s)"""  # noqa: S608
ACCOUNT = f"""
INSERT INTO clinic_accountevent ({ACCOUNT_COLUMNS}, mac)
VALUES (%s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s)"""  # noqa: S608
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
        _address(event.address),
        event.request_id,
        [client for client, _ in touched],
        [episode for _, episode in touched],
    ]
    mac = mark(values)
    values[-2:] = [_array(values[-2]), _array(values[-1])]
    with connection.cursor() as cursor:
        cursor.execute(EVENT, [*values, mac])


def mark(values: list[Any]) -> str:
    """What only the service can set beside an event: whoever else writes one is found out by it."""
    return event_mac(settings.AUDIT_KEY.encode(), values)


def _address(address: str | None) -> IPv4Address | IPv6Address | None:
    return ip_address(address) if address else None


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
        _address(event.address),
        event.request_id,
    ]
    with connection.cursor() as cursor:
        cursor.execute(ACCOUNT, [*values, mark(values)])


def named(name: str) -> str:
    """The same for the same name, however its letters are written; nothing for none."""
    return salted_hmac("clinic.audit.named", name.casefold(), algorithm="sha256").hexdigest() if name else ""
