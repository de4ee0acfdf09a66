"""The hot reads by hand: token or session, roles, rows, one line in the trail, orjson. No framework in between."""

import hashlib
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import psycopg
from django.contrib.sessions.backends.db import SessionStore
from django.utils.crypto import constant_time_compare, salted_hmac
from uuid_utils.compat import uuid7

from clinic.api.renderers import dumps
from tests.bench import read_statements as statements

Rows = list[dict[str, Any]]
PAGE = 50
OF_THE_VISIT = ("kind", "mode", "place", "site", "time_zone")


class NotLetIn(Exception):
    """The token or session is nobody's, or does not reach this."""


class ByHand:
    """One person's reads on a plain connection, which prepares what it sees often."""

    def __init__(self, connection: psycopg.Connection, *, token: str = "", session: str = "") -> None:
        self.connection, self.token, self.session = connection, token, session

    def day(self, _: int) -> bytes:
        who = self._who("goals:read")
        parts = self._rows(statements.PARTS, who)
        who |= {"clients": list({p["client"] for p in parts}), "episodes": list({p["episode"] for p in parts})}
        found = {
            "precautions": _by(self._rows(statements.PRECAUTIONS, who), "client"),
            "goals": _by(self._rows(statements.GOALS, who), "episode"),
            "due": _by(self._rows(statements.DUE, who), "episode"),
        }
        unsigned = self._rows(statements.UNSIGNED, who)
        self._tell(who, "api/v1/day/", [*parts, *unsigned])
        return dumps({"date": who["today"], "visits": _visits(parts, found), "unsigned": unsigned})

    def caseload(self, _: int) -> bytes:
        who = self._who("caseload:read")
        monday = who["today"] - timedelta(days=who["today"].weekday())
        return self._page(
            statements.CASELOAD, who | {"monday": monday, "sunday": monday + timedelta(days=6)}, "caseload"
        )

    def queue(self, _: int) -> bytes:
        return self._page(statements.QUEUE, self._who("notes:cosign"), "cosign-queue")

    def _page(self, statement: str, who: dict[str, Any], name: str) -> bytes:
        rows = self._rows(statement, who)[:PAGE]
        self._tell(who, f"api/v1/{name}/", rows)
        return dumps({"results": rows})

    def _who(self, action: str) -> dict[str, Any]:
        user, application = self._by_token(action) if self.token else self._by_session()
        row = self.connection.execute(statements.PERSON, {"user": user}).fetchone()
        if row is None or "therapist" not in row[4]:
            raise NotLetIn
        staff, organization, _, today, roles = row
        return {
            "staff": staff,
            "organization": organization,
            "today": today,
            "roles": roles,
            "application": application,
            "action": action,
        }

    def _by_token(self, action: str) -> tuple[Any, str]:
        checksum = hashlib.sha256(self.token.encode()).hexdigest()
        row = self.connection.execute(statements.TOKEN, {"checksum": checksum}).fetchone()
        if row is None or action not in row[1].split():
            raise NotLetIn
        return row[0], row[2]

    def _by_session(self) -> tuple[Any, str]:
        held = self.connection.execute(statements.SESSION, {"session": self.session}).fetchone()
        data = SessionStore().decode(held[0]) if held else {}
        row = self.connection.execute(statements.USER, {"user": data.get("_auth_user_id")}).fetchone()
        salt = "django.contrib.auth.models.AbstractBaseUser.get_session_auth_hash"
        if row is None or not constant_time_compare(
            data["_auth_user_hash"], salted_hmac(salt, row[1], algorithm="sha256").hexdigest()
        ):
            raise NotLetIn
        return row[0], "session"

    def _rows(self, statement: str, params: dict[str, Any]) -> Rows:
        cursor = self.connection.execute(statement, params)
        names = [column.name for column in cursor.description or ()]
        return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]

    def _tell(self, who: dict[str, Any], route: str, rows: Rows) -> None:
        touched = {(row["client"], row["episode"]) for row in rows}
        told = {"clients": [client for client, _ in touched], "episodes": [episode for _, episode in touched]}
        self.connection.execute(statements.AUDIT, who | told | {"route": route, "request": uuid7().hex})


def _by(rows: Rows, name: str) -> dict[Any, Rows]:
    found: dict[Any, Rows] = {}
    for row in rows:
        found.setdefault(row.pop(name), []).append(row)
    return found


def _visits(parts: Rows, found: dict[str, dict[Any, Rows]]) -> Rows:
    visits: dict[Any, dict[str, Any]] = {}
    for part in parts:
        visit = {
            "id": part.pop("visit"),
            "status": part.pop("visit_status"),
            "starts_at": part.pop("visit_starts_at"),
            "ends_at": part.pop("visit_ends_at"),
            **{name: part.pop(name) for name in OF_THE_VISIT},
            "children": [],
        }
        part["precautions"] = found["precautions"].get(part["client"], [])
        part["goals"] = found["goals"].get(part["episode"], [])
        part["due"] = found["due"].get(part["episode"], [])
        visits.setdefault(visit["id"], visit)["children"].append(part)
    return list(visits.values())


READS: dict[str, tuple[str, Callable[[ByHand], Callable[[int], bytes]]]] = {
    "the day": ("/api/v1/day/", lambda hand: hand.day),
    "caseload, 50 rows": ("/api/v1/caseload/", lambda hand: hand.caseload),
    "co-sign queue, 50 rows": ("/api/v1/cosign-queue/", lambda hand: hand.queue),
}
