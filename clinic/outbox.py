"""Says what happened, in the transaction in which it did: messages for listeners, and the feed of changes."""

import json
from datetime import datetime
from typing import Any
from uuid import UUID

from celery import current_app
from django.conf import settings
from django.db import connection, transaction
from uuid_utils.compat import uuid7

from clinic.enums import ChangeKind

MESSAGE = """
WITH message AS (
    INSERT INTO clinic_outboxmessage (id, organization_id, topic, refs, created_at)
    VALUES (%s, %s, %s, %s, %s)
    RETURNING id, organization_id, created_at)
INSERT INTO clinic_outboxhandling (id, organization_id, message_id, handler, attempts, not_before, last_error)
SELECT listener.id, message.organization_id, message.id, listener.handler, 0, message.created_at, ''
FROM message, unnest(%s::uuid[], %s::text[]) AS listener (id, handler)"""
CHANGE = """
INSERT INTO clinic_changefeed (organization_id, kind, record_kind, record_id, client_id, episode_id)
VALUES (%s, %s, %s, %s, %s, %s)"""


def record(topic: str, *, organization_id: UUID, now: datetime, **refs: Any) -> None:
    """Leave a message with one handling row for each listener; delivery is hurried after commit, sure by a sweep."""
    listeners = settings.OUTBOX_LISTENERS.get(topic, [])
    if not listeners:
        return
    told = json.dumps({name: str(value) for name, value in refs.items()})
    with connection.cursor() as cursor:
        cursor.execute(
            MESSAGE, [uuid7(), organization_id, topic, told, now, [uuid7() for _ in listeners], list(listeners)]
        )
    transaction.on_commit(hurry, robust=True)


def hurry() -> None:
    """Nudge a worker. A dead broker costs a delay, never the write."""
    current_app.send_task("clinic.deliver_outbox", expires=60, retry=False)


def created(record_kind: str, row: Any, *, client_id: UUID | None = None, episode_id: UUID | None = None) -> None:
    _feed(ChangeKind.CREATED, record_kind, row, client_id, episode_id)


def changed(record_kind: str, row: Any, *, client_id: UUID | None = None, episode_id: UUID | None = None) -> None:
    _feed(ChangeKind.CHANGED, record_kind, row, client_id, episode_id)


def _feed(kind: ChangeKind, record_kind: str, row: Any, client_id: UUID | None, episode_id: UUID | None) -> None:
    with connection.cursor() as cursor:
        cursor.execute(CHANGE, [row.organization_id, kind.value, record_kind, row.pk, client_id, episode_id])
