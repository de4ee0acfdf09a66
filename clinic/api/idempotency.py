"""Safe retries of POST: the first answer is kept with its key, in the transaction of what it did."""

import hashlib
import hmac
import json
import re
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.db import connection
from rest_framework.exceptions import ParseError
from rest_framework.request import Request
from rest_framework.response import Response

from clinic.errors import RuleForbids
from clinic.models import Idempotency
from clinic.rules.access import Actor

KEPT_FOR = timedelta(hours=24)
KEY = re.compile(r"^[\x21-\x7e]{8,100}$")
SECRETS = {"pin", "password", "current_pin", "new_password", "code"}
KEPT_HEADERS = ("ETag", "Location")


class KeyReused(RuleForbids):
    code = "idempotency_key_reused"
    title = "This Idempotency-Key was used for another request"


def key_of(request: Request, *, required: bool) -> str | None:
    key = request.headers.get("Idempotency-Key")
    if key is None:
        if required:
            raise ParseError("Send an Idempotency-Key (a UUID will do)", code="idempotency_key_required")
        return None
    if not KEY.match(key):
        raise ParseError("Idempotency-Key must be 8 to 100 visible ASCII characters", code="invalid_header")
    return key


def fingerprint(request: Request) -> str:
    """What was asked, secrets left out, so that a repeat is known from another request under the same key."""
    told = json.dumps([request.method, request.path, _without_secrets(request.data)], sort_keys=True)
    return hmac.new(settings.SECRET_KEY.encode(), told.encode(), hashlib.sha256).hexdigest()


def _without_secrets(data: Any) -> Any:
    if isinstance(data, dict):
        return {name: _without_secrets(value) for name, value in data.items() if name not in SECRETS}
    return [_without_secrets(value) for value in data] if isinstance(data, list) else data


def claim(*, actor: Actor, key: str, asked: str, now: datetime) -> Response | None:
    """Wait for whoever holds the key, then the stored answer to the same request, or None for the first."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", [f"{actor.application}/{actor.staff_id}/{key}"]
        )
    kept = Idempotency.objects.filter(application=actor.application, staff_id=actor.person, key=key).first()
    if kept is None:
        return None
    if kept.expires_at <= now:
        kept.delete()
        return None
    if not hmac.compare_digest(kept.fingerprint, asked):
        raise KeyReused
    return Response(bytes(kept.body), status=kept.status, headers={**kept.headers, "Idempotency-Replayed": "true"})


def keep(*, actor: Actor, key: str, asked: str, now: datetime, response: Response, body: bytes) -> None:
    """Store an answer of success; a refusal is not kept, so that a mended request may use the key."""
    Idempotency.objects.create(
        organization_id=actor.organization_id,
        application=actor.application,
        staff_id=actor.person,
        key=key,
        fingerprint=asked,
        status=response.status_code,
        headers={name: response[name] for name in KEPT_HEADERS if response.has_header(name)},
        body=body,
        expires_at=now + KEPT_FOR,
    )
