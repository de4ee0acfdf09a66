"""Writes the trail: one event a request, one statement, with a row for each client whose record it touched."""

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import connection
from uuid_utils.compat import uuid7

from clinic.enums import Outcome
from clinic.rules.access import Actor

EVENT = """
WITH event AS (
    INSERT INTO clinic_auditevent (id, organization_id, at, actor_id, roles, application, action, method, route,
        subject_id, outcome, status, code, reason, address, request_id)
    VALUES (%s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s)
    RETURNING id, organization_id, at)"""
ALONE = EVENT + " SELECT id FROM event"  # noqa: S608
WITH_CLIENTS = (
    EVENT
    + """
INSERT INTO clinic_auditeventclient (id, organization_id, event_id, client_id, episode_id, at)
SELECT touched.id, event.organization_id, event.id, touched.client_id, touched.episode_id, event.at
FROM event, unnest(%s::uuid[], %s::uuid[], %s::uuid[]) AS touched (id, client_id, episode_id)"""
)


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
    """Add the event and its clients in one statement."""
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
    ]
    with connection.cursor() as cursor:
        if not event.touched:
            cursor.execute(ALONE, values)
            return
        touched = list(event.touched)
        ids = [uuid7() for _ in touched]
        cursor.execute(WITH_CLIENTS, [*values, ids, [c for c, _ in touched], [e for _, e in touched]])
