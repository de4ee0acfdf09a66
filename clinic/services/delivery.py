"""Outbox messages reach their listeners: claimed with a lease, repeated with a growing delay, given up in the open."""

from datetime import datetime, timedelta

import structlog
from celery import current_app
from django.conf import settings
from django.contrib.sessions.models import Session
from django.db import transaction
from django.db.models import F, Q
from django.utils import timezone

from clinic.models import Idempotency, OutboxHandling

LEASE = timedelta(minutes=2)
BATCH = 100
TURN = ("attempts", "not_before", "pk")
LONGEST_DELAY = timedelta(hours=1)
log = structlog.get_logger("outbox")


def deliver_outbox() -> int:
    """Hand every due message to its listener; returns how many were handled."""
    handled = 0
    while claimed := _claim(timezone.now()):
        for handling in claimed:
            handled += _deliver(handling)
    return handled


@transaction.atomic
def _claim(now: datetime) -> list[OutboxHandling]:
    """Take due rows that nobody holds; the lease lets another take them when this process dies.

    What was tried before comes last: were it to end this process each time, the others are done by then.
    """
    free = Q(claimed_until__isnull=True) | Q(claimed_until__lt=now)
    rows = list(
        OutboxHandling.objects.select_for_update(of=("self",), skip_locked=True, no_key=True)
        .filter(free, done_at__isnull=True, dead_at__isnull=True, not_before__lte=now)
        .order_by(*TURN)[:BATCH]
    )
    claimed = OutboxHandling.objects.filter(pk__in=[row.pk for row in rows])
    claimed.update(claimed_until=now + LEASE, attempts=F("attempts") + 1)
    return list(claimed.select_related("message").order_by(*TURN))


def _deliver(handling: OutboxHandling) -> bool:
    """Run one listener in this process. It recomputes from rows, so twice, late or out of order is the same."""
    try:
        current_app.tasks[handling.handler](**handling.message.refs)
    except Exception as exc:
        _put_off(handling, exc)
        return False
    OutboxHandling.objects.filter(pk=handling.pk).update(done_at=timezone.now(), claimed_until=None)
    return True


def _put_off(handling: OutboxHandling, exc: Exception) -> None:
    """Repeat later, later each time; after the last attempt the row is left for a person to see."""
    now = timezone.now()
    log.warning(
        "listener failed", topic=handling.message.topic, task=handling.handler, code=type(exc).__name__, exc_info=exc
    )
    delay = min(LONGEST_DELAY, timedelta(seconds=2**handling.attempts))
    over = handling.attempts >= settings.OUTBOX_ATTEMPTS
    OutboxHandling.objects.filter(pk=handling.pk).update(
        claimed_until=None,
        not_before=now + delay,
        dead_at=now if over else None,
        last_error=type(exc).__name__[:200],
    )


def sweep_expired() -> int:
    """Drop stored answers whose day is over, and sessions that have ended."""
    now = timezone.now()
    dropped, _ = Idempotency.objects.filter(expires_at__lt=now).delete()
    ended, _ = Session.objects.filter(expire_date__lt=now).delete()
    return dropped + ended
