"""Threads that start at the same moment, each on a connection of its own."""

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from threading import Barrier, BrokenBarrierError
from typing import Any

from celery import current_app
from django.db import connection
from kombu import pools

PATIENCE = 20


def at_once(calls: list[Callable[[], Any]]) -> list[Any]:
    """What each call answers; all of them begin together, and an exception of one is raised here."""
    start = Barrier(len(calls))

    def run(call: Callable[[], Any]) -> Any:
        try:
            connection.ensure_connection()
            start.wait(PATIENCE)
            return call()
        finally:
            connection.close()

    with ThreadPoolExecutor(len(calls)) as pool:
        return [waiting.result(2 * PATIENCE) for waiting in [pool.submit(run, call) for call in calls]]


class Meeting:
    """A point that so many threads pass together: what only sometimes happens in a race happens always."""

    def __init__(self, threads: int) -> None:
        self._barrier = Barrier(threads)

    def wait(self) -> None:
        """Until the others are here; when they do not come, something holds them, and this one goes on."""
        try:
            self._barrier.wait(PATIENCE)
        except BrokenBarrierError:
            return


def statuses(answers: list[Any]) -> list[int]:
    return sorted(answer.status_code for answer in answers)


def run_sql(statement: str, *values: Any) -> list[tuple]:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
        return cursor.fetchall() if cursor.description else []


@contextmanager
def broker_at(url: str, *, queue: str = "celery", **options: Any) -> Iterator[None]:
    """Messages of this process go to this broker meanwhile."""
    app = current_app._get_current_object()
    names = ("broker_url", "broker_transport_options", "task_default_queue")
    before = {name: getattr(app.conf, name) for name in names}
    try:
        _set(app, broker_url=url, broker_transport_options=options, task_default_queue=queue)
        yield
    finally:
        _set(app, **before)


def _set(app: Any, **names: Any) -> None:
    for name, value in names.items():
        setattr(app.conf, name, value)
    # Connections, producers and queues were made for the broker before.
    pools.reset()
    app._pool = None
    app.__dict__.pop("amqp", None)
