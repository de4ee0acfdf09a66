"""The doors of the side by hand: the service's own, but what stands behind them is one statement."""

import hashlib
import time
from datetime import datetime
from typing import Any, ClassVar
from uuid import UUID

import orjson
from django.db import connection
from django.urls import path
from rest_framework.request import Request
from rest_framework.response import Response

from clinic.api.views import ApiView
from clinic.rules.access import Action
from clinic.urls import urlpatterns as of_the_service
from tests.bench.note_statements import PUT, SIGN


class ByHandDoor(ApiView):
    """Runs one statement in the request's transaction; keeps how many milliseconds the statement alone took."""

    change: ClassVar[str] = ""
    alone: ClassVar[list[float]]

    def one(self, statement: str, asked: dict[str, Any]) -> tuple:
        asked |= {
            "now": self.now,
            "staff": self.actor.staff_id,
            "today": self.actor.today,
            "application": self.actor.application,
            "id": self.kwargs["id"],
            "change": self.change,
        }
        started = time.perf_counter()
        with connection.cursor() as cursor:
            cursor.execute(statement, asked)
            found = cursor.fetchone()
        self.alone.append((time.perf_counter() - started) * 1000)
        if found is None:
            raise LookupError("The statement wrote nothing: a right, a row or a version was missing")
        return found


class PutByHand(ByHandDoor):
    actions = {"PUT": Action.WRITE_NOTES}
    change = "created"
    alone: ClassVar[list[float]] = []

    def put(self, request: Request, id: UUID) -> Response:
        return self.write(self._put)

    def _put(self) -> Response:
        body = self.request.data
        if any(not 0 <= each["successes"] <= each["opportunities"] for each in body["measurements"]):
            raise ValueError("More successes than opportunities")
        found = self.one(
            PUT,
            {
                "part": UUID(body["participation"]),
                "goals": [UUID(each["goal"]) for each in body["measurements"]],
                "draft": orjson.dumps(body).decode(),
                "digest": hashlib.sha256(orjson.dumps(body, option=orjson.OPT_SORT_KEYS)).hexdigest(),
            },
        )
        self.touch(found[1], found[2])
        return self.show(_record(found, body, self.now), version=1, status=201, location=self.request.path)


class SignByHand(ByHandDoor):
    actions = {"POST": Action.SIGN_NOTES}
    change = "changed"
    key_required = True
    alone: ClassVar[list[float]] = []

    def post(self, request: Request, id: UUID) -> Response:
        return self.write(self._sign)

    def _sign(self) -> Response:
        body, client, episode = self.one(SIGN, {})
        self.touch(client, episode)
        return self.show(orjson.loads(body), version=2)


def _record(found: tuple, body: dict[str, Any], now: datetime) -> dict[str, Any]:
    note, client, episode, author, service_date, requires_cosignature, visit = found
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


urlpatterns = [
    path("by-hand/<uuid:id>/", PutByHand.as_view()),
    path("by-hand/<uuid:id>/sign/", SignByHand.as_view()),
    *of_the_service,
]
