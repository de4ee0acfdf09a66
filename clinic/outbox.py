"""Says what happened, in the transaction in which it did: messages for listeners, and the feed of changes."""

from datetime import datetime
from typing import Any
from uuid import UUID

from celery import current_app
from django.conf import settings
from django.db import transaction

from clinic.enums import ChangeKind
from clinic.models import ChangeFeed, OutboxHandling, OutboxMessage


def record(topic: str, *, organization_id: UUID, now: datetime, **refs: Any) -> None:
    """Leave a message with one handling row for each listener; delivery is hurried after commit, sure by a sweep."""
    listeners = settings.OUTBOX_LISTENERS.get(topic, [])
    if not listeners:
        return
    message = OutboxMessage.objects.create(
        organization_id=organization_id,
        topic=topic,
        refs={name: str(value) for name, value in refs.items()},
        created_at=now,
    )
    OutboxHandling.objects.bulk_create(
        OutboxHandling(organization_id=organization_id, message=message, handler=handler, not_before=now)
        for handler in listeners
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
    ChangeFeed.objects.create(
        organization_id=row.organization_id,
        kind=kind.value,
        record_kind=record_kind,
        record_id=row.pk,
        client_id=client_id,
        episode_id=episode_id,
    )
