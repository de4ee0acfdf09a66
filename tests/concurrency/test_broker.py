"""Progress follows a signature through a real worker, whatever dies meanwhile."""

import os
import time
from datetime import timedelta

import pytest
import redis as redis_client
from celery import current_app
from django.conf import settings
from django.db import transaction
from django.utils import timezone

from clinic.limits import Shared
from clinic.models import OutboxHandling
from clinic.services import delivery
from goals.models import Goal, GoalProgress, GoalProgressHistory
from tests.concurrency.racing import at_once, broker_at
from tests.concurrency.workers import eventually, kill, worker, worker_environment
from tests.factories import new_id
from tests.scheduling.flow import PIN

REDIS = os.environ.get("REDIS_URL") or "redis://127.0.0.1:6379/15"
NOBODY_LISTENS = "redis://127.0.0.1:1/0"


@pytest.fixture
def redis_url():
    """A Redis that answers; where none was named and none listens, there is nothing to test with."""
    client = redis_client.Redis.from_url(REDIS, socket_connect_timeout=2)
    try:
        client.ping()
    except redis_client.ConnectionError:
        if os.environ.get("REDIS_URL"):
            raise
        pytest.skip("no Redis listens on 127.0.0.1:6379")
    finally:
        client.close()
    return REDIS


@pytest.fixture
def queue(redis_url):
    """The name of a queue of this test's own, gone afterwards."""
    name = f"test-{new_id()}"
    yield name
    with redis_client.Redis.from_url(redis_url) as client:
        for key in client.scan_iter(match=f"*{name}*"):
            client.delete(key)
        for tag, message in client.hscan_iter("unacked"):
            if name.encode() in message:
                client.hdel("unacked", tag)
                client.zrem("unacked_index", tag)


@pytest.fixture
def goal(flow):
    """Eight of ten in three of four; nothing is counted yet."""
    return flow.goal_of_ten(baseline=[3], needed=8)


@pytest.fixture
def draft(flow, goal):
    """An unsigned note of eight of ten; what came before it is delivered."""
    flow.deliver()
    return flow.put_note(flow.visit("2026-03-31"), successes=8, goal=goal, at="2026-03-31 10:00")


def sign(flow, note) -> None:
    """Signed now, by the machine's clock: the worker has no other, and a nudge is good for a minute."""
    version = flow.read(note)["version"]
    headers = {"HTTP_IDEMPOTENCY_KEY": new_id(), "HTTP_IF_MATCH": f'"{version}"'}
    answer = flow.ana.post(f"/api/v1/notes/{note}/sign/", {"pin": PIN}, format="json", **headers)
    assert answer.status_code == 200, answer.content


def seen(goal) -> bool:
    return GoalProgress.objects.filter(goal_id=goal, last_on="2026-03-31").exists()


def nudge() -> None:
    """What the schedule does every few seconds."""
    current_app.send_task("clinic.deliver_outbox")


def ready(goal) -> None:
    """Wait until a worker answers: it delivers a message that was due before."""
    OutboxHandling.objects.update(done_at=None, claimed_until=None)
    nudge()
    eventually(lambda: not OutboxHandling.objects.filter(done_at__isnull=True).exists(), what="the worker is up")


@pytest.mark.broker
def test_progress_is_seen_within_seconds_of_signing(flow, goal, draft, own_database, redis_url, queue, tmp_path):
    """The signature's own nudge is enough: no sweep, no schedule."""
    environment = worker_environment(database=own_database, var=tmp_path, redis=redis_url)
    with broker_at(redis_url, queue=queue, **settings.REDIS_TRANSPORT_OPTIONS), worker(environment, queue=queue):
        ready(goal)
        started = time.monotonic()
        sign(flow, draft)
        eventually(lambda: seen(goal), what="progress after signing")
        assert time.monotonic() - started < 5
        eventually(lambda: not undone(), what="the message is done")


def undone() -> bool:
    return OutboxHandling.objects.filter(done_at__isnull=True).exists()


@pytest.mark.broker
def test_a_killed_worker_costs_a_delay(flow, goal, draft, own_database, redis_url, queue, tmp_path):
    """Killed between claiming and recomputing; once its lease is over, another one finishes, and once only."""
    environment = worker_environment(database=own_database, var=tmp_path, redis=redis_url)
    history = GoalProgressHistory.objects.filter(goal_id=goal).count()
    with broker_at(redis_url, queue=queue, **settings.REDIS_TRANSPORT_OPTIONS):
        with worker(environment, queue=queue) as first:
            ready(goal)
            with transaction.atomic():
                Goal.objects.select_for_update(no_key=True).get(pk=goal)  # the worker waits for the goal
                at_once([lambda: sign(flow, draft)])  # committed on another connection
                eventually(claimed_outside, what="the worker has claimed the message")
                kill(first)
        assert not seen(goal)
        assert undone()
        the_lease_is_over()
        with worker(environment, queue=queue):
            nudge()
            eventually(lambda: seen(goal), what="progress by the second worker")
            eventually(lambda: not undone(), what="the message is done")
    assert GoalProgressHistory.objects.filter(goal_id=goal).count() == history + 1


def claimed_outside() -> bool:
    return OutboxHandling.objects.filter(done_at__isnull=True, claimed_until__gt=timezone.now()).exists()


def the_lease_is_over() -> None:
    OutboxHandling.objects.filter(done_at__isnull=True).update(claimed_until=timezone.now() - timedelta(seconds=1))


def test_a_dead_broker_costs_a_delay_not_the_signature(flow, goal, draft):
    """Nobody listens where the broker should be: signing answers 200 at once, and the sweep does the rest."""
    with broker_at(NOBODY_LISTENS, **settings.REDIS_TRANSPORT_OPTIONS):
        started = time.monotonic()
        sign(flow, draft)
        assert time.monotonic() - started < 5
    assert flow.read(draft)["state"] == "signed"
    assert (seen(goal), undone()) == (False, True)
    assert delivery.deliver_outbox() >= 1
    assert (seen(goal), undone()) == (True, False)


def test_without_redis_messages_go_through_files(flow, goal, draft, own_database, tmp_path):
    """The embedded mode's own transport: a folder, a worker beside, no other service."""
    environment = worker_environment(database=own_database, var=tmp_path)
    messages, control = tmp_path / "queue" / "messages", tmp_path / "queue" / "control"
    for folder in (messages, control):
        folder.mkdir(parents=True)
    where = {
        "data_folder_in": str(messages),
        "data_folder_out": str(messages),
        "control_folder": str(control),
        "polling_interval": 0.1,
    }
    with broker_at("filesystem://", **where), worker(environment):
        ready(goal)
        sign(flow, draft)
        eventually(lambda: seen(goal), what="progress after signing")


@pytest.mark.broker
def test_a_teams_processes_count_together(redis_url):
    """Two counters on one Redis, as two web processes have them; what was counted goes by itself."""
    first, second = Shared(redis_url), Shared(redis_url)
    key = f"requests/test/{new_id()}/1"
    assert [first.add(key), second.add(key), first.add(key)] == [1, 2, 3]
    assert 0 < first._redis.ttl(key) <= 120
