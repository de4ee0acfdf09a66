"""One request and everything that it leaves: the answer, byte by byte, its statements, its traces."""

import io
import logging
import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import time_machine
from django.conf import settings
from django.core import mail
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from tests.architecture.doors import NEW
from tests.architecture.subjects import Ask
from tests.architecture.world import run
from tests.factories import new_id

UUID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
LITERAL = re.compile(r"E?'(?:[^']|'')*'|\bs\d+_x\d+\b|\b\d+(?:\.\d+)?\b")  # savepoints are numbered, too
# Where a request leaves something behind for others to read.
TRACES = ("clinic_outboxmessage", "clinic_outboxhandling", "clinic_changefeed", "clinic_auditevent", "clinic_notice")


# Each request has a name of its own, and is counted.
OF_ITS_OWN = {"X-Request-ID", "RateLimit"}


@dataclass(frozen=True)
class Heard:
    """What one request got, in comparable form, and what it left in logs, mails, outbox, feed, trail and notices."""

    status: int
    headers: tuple[tuple[str, str], ...]
    body: bytes
    statements: tuple[str, ...] = ()
    traces: str = ""

    @property
    def answer(self) -> tuple[int, tuple[tuple[str, str], ...], bytes]:
        return self.status, self.headers, self.body


def hear(api: Any, method: str, asked: Ask) -> Heard:
    """Send it, keep what came and what was left, undo it."""
    send = getattr(api, "put" if method == NEW else method.lower())
    headers = {"HTTP_IDEMPOTENCY_KEY": new_id()} if method == "POST" else {}
    if method not in ("GET", NEW):
        headers["HTTP_IF_MATCH"] = "*"
    body = {"data": asked.body, "format": "json"} if asked.body is not None else {}
    began = _real_milliseconds()
    connection.queries_log.clear()  # it forgets the oldest once it is long
    with transaction.atomic(), logged() as log, CaptureQueriesContext(connection) as queries:
        mail.outbox = []
        answer = send(asked.url, **body, **headers)
        statements = tuple(LITERAL.sub("?", query["sql"]) for query in queries.captured_queries)
        traces = "\n".join([log.getvalue(), *_mails(), *_rows_left()])
        transaction.set_rollback(True)
    request_id = answer.headers.get("X-Request-ID", "-").encode()
    told = sorted((name, value) for name, value in answer.headers.items() if name not in OF_ITS_OWN)
    plain = _without_new_ids(answer.content.replace(request_id, b"<request>").decode(), began).encode()
    return Heard(
        answer.status_code,
        tuple((name, _without_new_ids(value, began)) for name, value in told),
        plain,
        statements,
        traces,
    )


def _real_milliseconds() -> int:
    """By the machine's clock, on which ids are made; a row that was made before gets an earlier id."""
    time.sleep(0.001)
    return int(time_machine.escape_hatch.time.time() * 1000)


def _without_new_ids(text: str, began: int) -> str:
    """Ids made since then, which no two requests share, taken out (RFC 9562: 48 bits of milliseconds come first)."""
    return UUID.sub(lambda found: "<new>" if int(found[0].replace("-", "")[:12], 16) >= began else found[0], text)


@contextmanager
def logged() -> Iterator[io.StringIO]:
    """Whatever is logged meanwhile, at any level, as the service would write it."""
    told = io.StringIO()
    handler = logging.StreamHandler(told)
    format = dict(settings.LOGGING["formatters"]["json"])
    handler.setFormatter(format.pop("()")(**format))
    root = logging.getLogger()
    root.addHandler(handler)
    try:
        yield told
    finally:
        root.removeHandler(handler)


def _mails() -> list[str]:
    return [f"{message.subject} {message.body} {message.recipients()}" for message in mail.outbox]


def _rows_left() -> list[str]:
    union = " UNION ALL ".join(f"SELECT to_jsonb(kept)::text FROM {table} kept" for table in TRACES)  # noqa: S608
    return [row[0] for row in run(union)]
