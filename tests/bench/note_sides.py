"""A note's two writes, put and signed: the service through its API, and one statement each by hand."""

import hashlib
from collections.abc import Callable
from datetime import datetime
from typing import Any
from uuid import UUID

import orjson
import psycopg
from django.utils import timezone
from uuid_utils.compat import uuid7

from clinic.api.renderers import dumps
from tests.bench import note_world
from tests.bench.caller import Caller
from tests.bench.note_statements import PUT, SIGN

NO_ROW = "The statement wrote nothing: a right, a row or a version was missing"


class ByService:
    """PUT and sign over the API in this process, by an assistant's access token."""

    def __init__(self, caller: Caller, parts: list[UUID], goals: list[UUID]) -> None:
        self.caller, self.parts, self.goals = caller, parts, goals
        self.notes = [note_world.new_key() for _ in parts]

    def put(self, number: int) -> bytes:
        body = note_world.body_of(self.parts[number], self.goals, successes=number % 11)
        return self.caller.put(f"/api/v1/notes/{self.notes[number]}/", body)

    def sign(self, number: int) -> bytes:
        return self.caller.post(
            f"/api/v1/notes/{self.notes[number]}/sign/",
            note_world.sign_body(),
            HTTP_IF_MATCH='"1"',
            HTTP_IDEMPOTENCY_KEY=note_world.new_key(),
        )


class ByHand:
    """The same two writes, each one statement on a plain connection that commits by itself."""

    def __init__(self, connection: psycopg.Connection, token: str, parts: list[UUID], goals: list[UUID]) -> None:
        self.connection, self.token, self.parts, self.goals = connection, token, parts, goals
        self.notes = [uuid7() for _ in parts]

    def put(self, number: int) -> bytes:
        sent = note_world.body_of(self.parts[number], self.goals, successes=number % 11)
        body = orjson.loads(sent)
        if any(not 0 <= each["successes"] <= each["opportunities"] for each in body["measurements"]):
            raise ValueError("More successes than opportunities")
        asked = self._asked("notes:write", "PUT", "api/v1/notes/<uuid:id>/", number, status=201, change="created") | {
            "part": UUID(body["participation"]),
            "goals": [UUID(each["goal"]) for each in body["measurements"]],
            "draft": sent.decode(),
            "digest": hashlib.sha256(orjson.dumps(body, option=orjson.OPT_SORT_KEYS)).hexdigest(),
        }
        row = self._one(PUT, asked)
        return dumps(_put_record(row, body, asked["now"]))

    def sign(self, number: int) -> bytes:
        sent = note_world.sign_body()
        asked = self._asked("notes:sign", "POST", "api/v1/notes/<uuid:id>/sign/", number, status=200, change="changed")
        kept = {"key": note_world.new_key(), "fingerprint": hashlib.sha256(sent).hexdigest()}
        return self._one(SIGN, asked | kept)[0].encode()

    def _asked(self, action: str, method: str, route: str, number: int, *, status: int, change: str) -> dict[str, Any]:
        return {
            "checksum": hashlib.sha256(self.token.encode()).hexdigest(),
            "now": timezone.now(),
            "action": action,
            "method": method,
            "route": route,
            "id": self.notes[number],
            "status": status,
            "change": change,
            "request": uuid7().hex,
        }

    def _one(self, statement: str, asked: dict[str, Any]) -> tuple:
        row = self.connection.execute(statement, asked).fetchone()
        if row is None:
            raise LookupError(NO_ROW)
        return row


def _put_record(row: tuple, body: dict[str, Any], now: datetime) -> dict[str, Any]:
    note, client, episode, author, service_date, requires_cosignature, visit = row
    return {
        "id": note,
        "version": 1,
        "kind": "visit_note",
        "state": "draft",
        "participation": body["participation"],
        "visit": visit,
        "amends": None,
        "client": client,
        "episode": episode,
        "author": author,
        "service_date": service_date,
        "requires_cosignature": requires_cosignature,
        "cosign_owner": None,
        "cosign_due_at": None,
        "changed_at": now,
        "draft": body,
        "current": None,
    }


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
    "clinic_auditeventclient",
)


def rows_written(connection: psycopg.Connection, write: Callable[[], object]) -> dict[str, int]:
    """How many rows a write added, by table."""
    before = _counts(connection)
    write()
    return {name: count - before[name] for name, count in _counts(connection).items() if count != before[name]}


def _counts(connection: psycopg.Connection) -> dict[str, int]:
    counted = ", ".join(f"(SELECT count(*) FROM {name})" for name in TABLES)
    return dict(zip(TABLES, connection.execute(f"SELECT {counted}").fetchone() or (), strict=True))
