"""Checks the trail by the marks that its events bear, and the signed acts by the trail."""

import hmac
from collections.abc import Iterator
from datetime import datetime, timedelta
from ipaddress import ip_address
from typing import Any

from django.db import connection

from clinic.audit import ACCOUNT_COLUMNS, EVENT_COLUMNS
from clinic.rules.seals import Broken, Finding, event_mac

CHUNK = 2000
# How long processes of before there were marks may go on writing, once the first mark was set.
CHANGEOVER = timedelta(hours=1)
EVENTS = {"clinic_auditevent": EVENT_COLUMNS, "clinic_accountevent": ACCOUNT_COLUMNS}
MARKED_SINCE = "SELECT min(at) FROM clinic_auditevent WHERE mac <> ''"
# An act's clock is its request's, so that the event has the very same instant.
UNTOLD = """
SELECT e.seal_id, e.ordinal, act.kind, act.row_id FROM (
    SELECT 'clinic_signature' AS kind, id AS row_id, organization_id, signer_id AS who, signed_at AS at
    FROM clinic_signature
    UNION ALL SELECT 'clinic_verdict', version_id, organization_id, by_id, at FROM clinic_verdict) act
LEFT JOIN clinic_sealentry e ON e.kind = act.kind AND e.row_id = act.row_id
WHERE act.at >= %s AND NOT EXISTS (
    SELECT 1 FROM clinic_auditevent told WHERE told.organization_id = act.organization_id
    AND told.actor_id = act.who AND told.at = act.at AND told.outcome = 'done' AND told.method = 'POST')"""


def trail_amiss(keys: list[bytes]) -> Iterator[Finding]:
    """Events that the service did not write, and signed acts since there are marks of which the trail says nothing."""
    with connection.cursor() as cursor:
        cursor.execute(MARKED_SINCE)
        (since,) = cursor.fetchone()
    if since is None:
        return
    for kind, columns in EVENTS.items():
        yield from _forged(kind, columns, keys, since)
    with connection.cursor() as cursor:
        cursor.execute(UNTOLD, [since])
        for seal, ordinal, kind, row_id in cursor.fetchall():
            yield Finding(Broken.ACT_UNTOLD, kind, row_id, seal=seal, ordinal=ordinal)


def _forged(kind: str, columns: str, keys: list[bytes], since: datetime) -> Iterator[Finding]:
    names = columns.split(", ")
    listed = ", ".join(f"t.{name}" for name in names)
    with connection.chunked_cursor() as cursor:
        cursor.execute(
            f"""SELECT e.seal_id, e.ordinal, t.mac, {listed} FROM {kind} t
            LEFT JOIN clinic_sealentry e ON e.kind = %s AND e.row_id = t.id
            WHERE t.mac <> '' OR t.at > %s""",  # noqa: S608
            [kind, since + CHANGEOVER],
        )
        while rows := cursor.fetchmany(CHUNK):
            for seal, ordinal, mac, *values in rows:
                if not _bears(mac, _as_written(names, values), keys):
                    yield Finding(Broken.EVENT_FORGED, kind, values[0], seal=seal, ordinal=ordinal)


def _as_written(names: list[str], values: list[Any]) -> list[Any]:
    told = dict(zip(names, values, strict=True))
    if told["address"]:
        told["address"] = ip_address(told["address"])
    return list(told.values())


def _bears(mac: str, values: list[Any], keys: list[bytes]) -> bool:
    return any(hmac.compare_digest(mac, event_mac(key, values)) for key in keys)
