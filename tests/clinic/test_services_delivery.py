"""Messages reach their listeners: once, later when one fails, and no longer than is worth trying."""

from datetime import timedelta

import pytest
import time_machine
from celery import current_app

from clinic import outbox
from clinic.models import OutboxHandling
from clinic.services import delivery
from tests import factories as make

pytestmark = pytest.mark.django_db
NOON = make.at("2026-03-03 12:00")
WORKS, FAILS = "tests.listener_that_works", "tests.listener_that_fails"


@pytest.fixture
def heard(monkeypatch, settings):
    """What two listeners of one topic hear, of whom one always fails."""
    heard = []

    def fail(**refs):
        raise ConnectionError

    monkeypatch.setitem(current_app.tasks, WORKS, lambda **refs: heard.append(refs))
    monkeypatch.setitem(current_app.tasks, FAILS, fail)
    settings.OUTBOX_LISTENERS = {"bell.rung": [WORKS, FAILS]}
    return heard


@pytest.fixture
def bell(heard):
    """A message told at noon."""
    outbox.record("bell.rung", organization_id=make.make_organization().pk, now=NOON, bell="B1")


def deliver(after: timedelta = timedelta()) -> int:
    with time_machine.travel(NOON + after, tick=False):
        return delivery.deliver_outbox()


def of(handler: str) -> OutboxHandling:
    return OutboxHandling.objects.get(handler=handler)


def test_a_failing_listener_repeats_alone(bell, heard):
    """The other one has heard it and hears it no more."""
    assert deliver() == 1
    assert deliver(timedelta(hours=2)) == 0
    assert heard == [{"bell": "B1"}]
    assert (of(WORKS).done_at, of(WORKS).attempts) == (NOON, 1)
    assert (of(FAILS).done_at, of(FAILS).attempts, of(FAILS).last_error) == (None, 2, "ConnectionError")


def test_it_is_tried_later_each_time(bell):
    """After two seconds, then four, eight; not before."""
    due = timedelta()
    for attempts, delay in ((1, 2), (2, 4), (3, 8)):
        deliver(due)
        due += timedelta(seconds=delay)
        assert (of(FAILS).attempts, of(FAILS).not_before) == (attempts, NOON + due)
        deliver(due - timedelta(milliseconds=1))
        assert of(FAILS).attempts == attempts


def test_it_is_given_up_in_the_open(bell, settings):
    """After the last attempt the row stays, with its day and its error, and is tried no more."""
    settings.OUTBOX_ATTEMPTS = 2
    deliver()
    assert of(FAILS).dead_at is None
    deliver(timedelta(minutes=1))
    assert of(FAILS).dead_at == NOON + timedelta(minutes=1)
    deliver(timedelta(days=1))
    assert of(FAILS).attempts == 2


def test_a_lease_is_another_s_until_it_is_over(bell, heard):
    """What a process took that died is taken again after its lease, not before."""
    OutboxHandling.objects.update(claimed_until=NOON + delivery.LEASE, attempts=1)
    assert deliver(delivery.LEASE) == 0
    assert heard == []
    assert deliver(delivery.LEASE + timedelta(seconds=1)) == 1
    assert heard == [{"bell": "B1"}]


def test_what_was_tried_before_waits_behind_what_was_not(bell, heard):
    """A message that ends its worker each time does not keep the others from being heard."""
    OutboxHandling.objects.filter(handler=FAILS).update(attempts=3)
    outbox.record("bell.rung", organization_id=of(WORKS).organization_id, now=NOON + timedelta(seconds=5), bell="B2")
    with time_machine.travel(NOON + timedelta(minutes=1), tick=False):
        claimed = delivery._claim(NOON + timedelta(minutes=1))
    assert [row.attempts for row in claimed] == [1, 1, 1, 4]
