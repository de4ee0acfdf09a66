"""Sets seals over what was added to the append-only tables, and anchors each outside the database."""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from uuid import UUID

import structlog
from django.conf import settings
from django.db import connection, transaction

from clinic import anchor
from clinic.models import Seal
from clinic.rules import merkle
from clinic.rules.seals import GONE, NOTHING_BEFORE, SealWords, entry_mac, key_id
from clinic.selectors.sealing import sealed_tables, spell_alike

BATCH = 5000
# Any number will do that nothing else locks: one process seals at a time.
SEALING = 0x5EA1
TAKE = """
DELETE FROM clinic_unsealed WHERE seq IN (SELECT seq FROM clinic_unsealed ORDER BY seq LIMIT %s)
RETURNING seq, kind, row_id"""
SEALED = """
SELECT e.kind, e.row_id FROM clinic_sealentry e JOIN unnest(%s::text[], %s::uuid[]) AS asked (kind, row_id)
ON asked.kind = e.kind AND asked.row_id = e.row_id"""
ENTER = """
INSERT INTO clinic_sealentry (ordinal, seal_id, kind, row_id, leaf, mac)
SELECT ordinal, %s, kind, row_id, leaf, mac
FROM unnest(%s::bigint[], %s::text[], %s::uuid[], %s::bytea[], %s::bytea[])
    AS entry (ordinal, kind, row_id, leaf, mac)"""
log = structlog.get_logger("seals")


class AnchorDisagrees(Exception):
    """The anchor knows a seal that the record does not, or another one of that number: nothing is sealed on top."""


@dataclass(frozen=True)
class Waiting:
    """A row that asked for its seal."""

    kind: str
    row_id: UUID


def seal_rows(*, now: datetime, key: bytes | None = None, path: Path | None = None) -> int:
    """Seal whatever waits, in batches; returns how many rows. Another process that seals already leaves nothing to do.

    Refuses with AnchorDisagrees where the record's last seals were cut off or are others than the anchor's.
    """
    key, path = key or settings.AUDIT_KEY.encode(), path or settings.AUDIT_ANCHOR
    _require_known_head(path)
    sealed = 0
    while seal := _seal_next(now, key):
        sealed += seal.count
        if seal.caught_up:
            break
    _anchor_what_is_new(path)
    return sealed


def _require_known_head(path: Path) -> None:
    known = anchor.last_line(path)
    if known and not Seal.objects.filter(number=known.number, mac=known.mac).exists():
        raise AnchorDisagrees(f"The anchor's seal {known.number} is not in the record")


def _anchor_what_is_new(path: Path) -> None:
    """Whatever a process that died, or another machine's, has not left here yet."""
    known = anchor.last_line(path)
    new = Seal.objects.filter(number__gt=known.number if known else 0).order_by("number")
    if new:
        anchor.append(path, (anchor.Line(seal.number, seal.count, seal.root, seal.mac) for seal in new))


@transaction.atomic
def _seal_next(now: datetime, key: bytes) -> Seal | None:
    """One batch under one seal, or None when nothing waits or somebody else is at it."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_xact_lock(%s)", [SEALING])
        if not cursor.fetchone()[0]:
            return None
        cursor.execute(TAKE, [BATCH])
        taken = sorted(cursor.fetchall())
    waiting = _not_sealed_yet(taken)
    if not waiting:
        return None
    spell_alike()
    leaves = _leaves_of(waiting)
    hashes = [leaves.get(row, merkle.leaf_hash(GONE)) for row in waiting]
    seal = _set_seal(now, key, hashes, caught_up=len(taken) < BATCH)
    _enter(seal, key, waiting, hashes)
    return seal


def _not_sealed_yet(taken: list[tuple[int, str, UUID]]) -> list[Waiting]:
    """In the order in which they asked, each once. What no table of ours asks for is left out, and told."""
    tables = sealed_tables()
    asked = dict.fromkeys(Waiting(kind, row_id) for _, kind, row_id in taken)
    unknown = {row.kind for row in asked} - set(tables)
    if unknown:
        log.error("asked for a seal by no table that is sealed", code="unknown_kind")
    with connection.cursor() as cursor:
        cursor.execute(SEALED, [[row.kind for row in asked], [row.row_id for row in asked]])
        sealed = {Waiting(*row) for row in cursor.fetchall()}
    return [row for row in asked if row not in sealed and row.kind in tables]


def _leaves_of(waiting: list[Waiting]) -> dict[Waiting, bytes]:
    """The leaf of each row that is still there."""
    keys: dict[str, list[UUID]] = defaultdict(list)
    for row in waiting:
        keys[row.kind].append(row.row_id)
    return {Waiting(kind, row_id): leaf for kind, ids in keys.items() for row_id, leaf in _leaves_in(kind, ids)}


def _leaves_in(kind: str, ids: list[UUID]) -> Iterator[tuple[UUID, bytes]]:
    table = sealed_tables()[kind]
    with connection.cursor() as cursor:
        cursor.execute(
            f"""SELECT {table.key}, {table.leaf} FROM {kind} t
            WHERE t."{table.trigger.key}" = ANY(%s)""",  # noqa: S608
            [[row_id.int for row_id in ids] if table.trigger.key == "seq" else ids],
        )
        yield from ((row_id, bytes(leaf)) for row_id, leaf in cursor.fetchall())


def _set_seal(now: datetime, key: bytes, hashes: list[bytes], *, caught_up: bool) -> Seal:
    before = Seal.objects.order_by("-number").first()
    words = SealWords(
        number=before.number + 1 if before else 1,
        at=now,
        first=before.first + before.count if before else 1,
        count=len(hashes),
        root=merkle.root_of(hashes).hex(),
        previous=before.mac if before else NOTHING_BEFORE,
        caught_up=caught_up,
    )
    return Seal.objects.create(**words.__dict__, key_id=key_id(key), mac=words.mac(key))


def _enter(seal: Seal, key: bytes, waiting: list[Waiting], hashes: list[bytes]) -> None:
    ordinals = list(range(seal.first, seal.first + seal.count))
    macs = [
        entry_mac(key, ordinal=ordinal, kind=row.kind, row_id=row.row_id, leaf=leaf)
        for ordinal, row, leaf in zip(ordinals, waiting, hashes, strict=True)
    ]
    with connection.cursor() as cursor:
        kinds, ids = [row.kind for row in waiting], [row.row_id for row in waiting]
        cursor.execute(ENTER, [seal.pk, ordinals, kinds, ids, hashes, macs])
