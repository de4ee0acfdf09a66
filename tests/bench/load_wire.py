"""A client on a bad network: each write goes out over a connection that may be cut, until it is answered."""

import json
import random
import socket
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from http.client import HTTPException, HTTPResponse
from pathlib import Path
from typing import Any

CUT_SHARE = 0.15
PATIENCE = 60.0
PAUSE = 0.05
AGAIN = {429, 500, 502, 503, 504}


class Cut(Exception):
    """The network ended the exchange."""


class Ended(Exception):
    """The time is over: a write under way may have been applied or not, and nobody was told."""


class Refused(Exception):
    """A definite answer that is not a success."""

    def __init__(self, status: int, body: Any) -> None:
        super().__init__(f"{status} {body}")
        self.status = status
        self.code = body.get("code", "") if isinstance(body, dict) else ""


@dataclass
class Wire:
    """One person's requests; what was acknowledged goes to her ledger, a line each, before anything else is done."""

    port: int
    token: str
    ledger: Path
    ending: threading.Event
    chance: random.Random
    counts: Counter[str] = field(default_factory=Counter)
    connection: socket.socket | None = None

    def get(self, path: str) -> tuple[Any, str]:
        return self._until_answered("GET", path, None, {})

    def write(self, method: str, path: str, body: Any, headers: dict[str, str], **entry: Any) -> tuple[Any, str]:
        """Repeat it until it is answered; `entry` is what the ledger says about it."""
        answer, etag = self._until_answered(method, path, json.dumps(body).encode(), headers)
        if answer.get("current"):
            entry |= {"number": answer["current"]["number"], "digest": answer["current"]["digest"]}
        with self.ledger.open("a") as ledger:
            ledger.write(json.dumps(entry) + "\n")
        self.counts["acknowledged"] += 1
        return answer, etag

    def _until_answered(self, method: str, path: str, body: bytes | None, headers: dict[str, str]) -> tuple[Any, str]:
        over = time.monotonic() + PATIENCE
        while time.monotonic() < over:
            try:
                status, content, etag = self._once(method, path, body, headers)
            except (Cut, OSError, HTTPException):
                self._hang_up()
                self.counts["not answered"] += 1
            else:
                if status < 300:
                    return content, etag
                if status not in AGAIN:
                    raise Refused(status, content)
                self.counts[f"answered {status} {content.get('code', '')}"] += 1
            if self.ending.is_set():
                raise Ended
            time.sleep(PAUSE)
        raise TimeoutError(f"{method} {path} was not answered within {PATIENCE:.0f} s")

    def _once(self, method: str, path: str, body: bytes | None, headers: dict[str, str]) -> tuple[int, Any, str]:
        sent = self._request(method, path, body or b"", headers)
        cut = self.chance.random() < CUT_SHARE
        place = self.chance.choice(("sending", "waiting", "answered")) if cut else ""
        wire = self.connection = self.connection or socket.create_connection(("127.0.0.1", self.port), timeout=20)
        if place == "sending":
            wire.sendall(sent[: self.chance.randrange(1, len(sent))])
            raise Cut
        wire.sendall(sent)
        if place == "waiting":
            time.sleep(self.chance.random() * 0.05)
            raise Cut
        answer = HTTPResponse(wire, method=method)
        answer.begin()
        if place == "answered":
            raise Cut
        text = answer.read()
        if answer.will_close:
            self._hang_up()
        return answer.status, _json(text), answer.getheader("ETag", "")

    def _request(self, method: str, path: str, body: bytes, headers: dict[str, str]) -> bytes:
        lines = {
            "Host": "localhost",
            "Authorization": f"Bearer {self.token}",
            "Content-Type": "application/json",
            "Content-Length": str(len(body)),
            **headers,
        }
        head = f"{method} /api/v1{path} HTTP/1.1\r\n" + "".join(f"{name}: {text}\r\n" for name, text in lines.items())
        return head.encode() + b"\r\n" + body

    def _hang_up(self) -> None:
        if self.connection is not None:
            self.connection.close()
        self.connection = None


def _json(text: bytes) -> Any:
    try:
        return json.loads(text)
    except ValueError:
        return {"code": "not_json"}
