"""From the answer to a signature until the goal's progress shows it, a real worker idle before."""

import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from uuid import UUID

import orjson

from clinic.environment import TOP
from goals.models import GoalProgress
from tests.bench import note_world
from tests.bench.caller import Caller
from tests.bench.note_world import World

PATIENCE_SECONDS = 60.0
LOOK_AGAIN_SECONDS = 0.01
IDLE_SECONDS = 0.3


@contextmanager
def worker() -> Iterator[subprocess.Popen[bytes]]:
    """One background process of the service, without its timer: only the nudge after commit can be in time."""
    pool = ["-P", "threads", "-c", "2"]
    command = [sys.executable, "-m", "celery", "-A", "clinic", "worker", "--loglevel=ERROR", *pool]
    process = subprocess.Popen(command, cwd=TOP, stdout=subprocess.DEVNULL, env=dict(os.environ))
    try:
        yield process
    finally:
        process.terminate()
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def waits(caller: Caller, world: World, number: int) -> list[float]:
    """Seconds that each of so many notes took. One more goes before: it waits for the worker to start."""
    first, *parts = note_world.visits(world, number + 1)
    _sign(caller, world, first)
    _until(lambda: GoalProgress.objects.filter(goal__in=world.goals).count() == len(world.goals))
    return [_wait(caller, world, part, shown=place + 2) for place, part in enumerate(parts)]


def _wait(caller: Caller, world: World, part: UUID, *, shown: int) -> float:
    time.sleep(IDLE_SECONDS)
    _sign(caller, world, part)
    signed = time.perf_counter()
    _until(lambda: all(_visits_of(caller, goal) == shown for goal in world.goals))
    return time.perf_counter() - signed


def _sign(caller: Caller, world: World, part: UUID) -> None:
    note = note_world.new_key()
    caller.put(f"/api/v1/notes/{note}/", note_world.body_of(part, world.goals, successes=7))
    caller.post(
        f"/api/v1/notes/{note}/sign/",
        note_world.sign_body(),
        HTTP_IF_MATCH='"1"',
        HTTP_IDEMPOTENCY_KEY=note_world.new_key(),
    )


def _until(shown: Callable[[], bool]) -> None:
    begun = time.monotonic()
    while not shown():
        if time.monotonic() - begun > PATIENCE_SECONDS:
            raise TimeoutError(f"Progress did not follow within {PATIENCE_SECONDS:.0f} s")
        time.sleep(LOOK_AGAIN_SECONDS)


def _visits_of(caller: Caller, goal: UUID) -> int:
    return len(orjson.loads(caller.get(f"/api/v1/goals/{goal}/progress/"))["found"]["visits"])
