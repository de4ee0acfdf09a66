"""A note's two writes, put and signed, each a request: the service's doors, and the doors with one statement behind."""

from collections.abc import Callable
from uuid import UUID

import psycopg

from tests.bench import note_world
from tests.bench.caller import Caller


class Side:
    """PUT and sign at one pair of doors in this process, by an assistant's access token."""

    def __init__(self, caller: Caller, doors: str, parts: list[UUID], goals: list[UUID]) -> None:
        self.caller, self.parts, self.goals = caller, parts, goals
        self.doors = [f"{doors}{note_world.new_key()}/" for _ in parts]

    def put(self, number: int) -> bytes:
        body = note_world.body_of(self.parts[number], self.goals, successes=number % 11)
        return self.caller.put(self.doors[number], body)

    def sign(self, number: int) -> bytes:
        headers = {"HTTP_IF_MATCH": '"1"', "HTTP_IDEMPOTENCY_KEY": note_world.new_key()}
        return self.caller.post(f"{self.doors[number]}sign/", note_world.sign_body(), **headers)


TABLES = (
    "clinic_document",
    "clinic_documentversion",
    "clinic_signature",
    "goals_measurement",
    "scheduling_participationnote",
    "clinic_changefeed",
    "clinic_outboxmessage",
    "clinic_outboxhandling",
    "clinic_idempotency",
    "clinic_auditevent",
)


def rows_written(connection: psycopg.Connection, write: Callable[[], object]) -> dict[str, int]:
    """How many rows a write added, by table."""
    before = _counts(connection)
    write()
    return {name: count - before[name] for name, count in _counts(connection).items() if count != before[name]}


def _counts(connection: psycopg.Connection) -> dict[str, int]:
    counted = ", ".join(f"(SELECT count(*) FROM {name})" for name in TABLES)
    return dict(zip(TABLES, connection.execute(f"SELECT {counted}").fetchone() or (), strict=True))
