"""Checks the record against its seals, and the seals against the anchor: what was changed, taken away or slipped in."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

from django.db import connection, transaction

from clinic import anchor
from clinic.models import Seal
from clinic.rules import merkle
from clinic.rules.seals import NOTHING_BEFORE, Broken, Finding, SealWords, entry_mac
from clinic.selectors.sealing import SealedTable, sealed_tables, spell_alike
from clinic.selectors.trail_check import trail_amiss

# A worker seals every five seconds; what waits longer than this, waits for a worker that does not run.
WINDOW = timedelta(seconds=10)
# No request takes so long from its clock to its commit (see the database's timeouts in the settings).
LONGEST_REQUEST = timedelta(minutes=10)
CHUNK = 5000
ENTRIES = "SELECT ordinal, seal_id, kind, row_id, leaf, mac FROM clinic_sealentry ORDER BY ordinal"


@dataclass
class Checked:
    """What was looked at, and what does not fit, the first first."""

    seals: int = 0
    entries: int = 0
    waiting: int = 0
    findings: list[Finding] = field(default_factory=list)

    @property
    def first(self) -> Finding | None:
        return min(self.findings, key=lambda finding: finding.order, default=None)


def check_record(*, now: datetime, keys: Mapping[str, bytes], path: Path) -> Checked:
    """Look at every seal, entry and sealed row in one snapshot. `keys` are the present and former ones, by name."""
    with _one_snapshot():
        return look_over(now=now, keys=keys, path=path)


def look_over(*, now: datetime, keys: Mapping[str, bytes], path: Path) -> Checked:
    """The same as this transaction sees it."""
    spell_alike()
    checked = Checked()
    seals = list(Seal.objects.order_by("number"))
    checked.seals = len(seals)
    checked.findings += _seals_amiss(seals, keys)
    checked.findings += _anchor_amiss(seals, path)
    checked.findings += _entries_amiss(seals, keys, checked)
    for table in sealed_tables().values():
        checked.findings += _rows_amiss(table)
        checked.findings += _rows_without_seal(table)
        checked.findings += _rows_backdated(table)
    checked.findings += trail_amiss(list(keys.values()))
    checked.waiting, overdue = _waiting(now)
    checked.findings += overdue
    return checked


@contextmanager
def _one_snapshot() -> Iterator[None]:
    """All of it as it stood at one instant, whoever writes meanwhile; as long as it takes."""
    with transaction.atomic(durable=True):
        with connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            cursor.execute("SET LOCAL statement_timeout = 0; SET LOCAL idle_in_transaction_session_timeout = 0")
        yield


def _rows(statement: str, values: list[Any] | None = None) -> list[tuple]:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
        return cursor.fetchall()


# --- The seals themselves ------------------------------------------------------------------------------


def _seals_amiss(seals: list[Seal], keys: Mapping[str, bytes]) -> Iterator[Finding]:
    number, first, previous = 1, 1, NOTHING_BEFORE
    for seal in seals:
        if seal.number != number:
            yield Finding(Broken.SEAL_GONE, seal=number, ordinal=first)
        elif (seal.first, seal.previous) != (first, previous):
            yield Finding(Broken.SEAL_ALTERED, seal=seal.number, ordinal=seal.first)
        if seal.key_id not in keys:
            yield Finding(Broken.SEAL_KEY_UNKNOWN, seal=seal.number, ordinal=seal.first)
        elif _words_of(seal).mac(keys[seal.key_id]) != seal.mac:
            yield Finding(Broken.SEAL_ALTERED, seal=seal.number, ordinal=seal.first)
        number, first, previous = seal.number + 1, seal.first + seal.count, seal.mac


def _words_of(seal: Seal) -> SealWords:
    return SealWords(
        number=seal.number,
        at=seal.at,
        first=seal.first,
        count=seal.count,
        root=seal.root,
        previous=seal.previous,
        caught_up=seal.caught_up,
    )


def _anchor_amiss(seals: list[Seal], path: Path) -> Iterator[Finding]:
    """Each line of the anchor is a seal of the record; a record whose tail was cut off lacks the last ones."""
    known = {seal.number: seal for seal in seals}
    seen = 0
    for line in anchor.lines_of(path):
        seal, seen = known.get(line.number), seen + 1
        if seal is None or (seal.mac, seal.root, seal.count) != (line.mac, line.root, line.count):
            yield Finding(Broken.ANCHOR_DIFFERS, seal=line.number)
    if seals and not seen:
        yield Finding(Broken.ANCHOR_MISSING)


def _entries_amiss(seals: list[Seal], keys: Mapping[str, bytes], checked: Checked) -> Iterator[Finding]:
    """Each place of each seal holds one entry that bears the key's mark, and together they have the seal's root."""
    entries = _entries()
    entry = next(entries, None)
    for seal in seals:
        leaves = []
        for ordinal in range(seal.first, seal.first + seal.count):
            while entry and entry.ordinal < ordinal:
                yield entry.amiss(Broken.ENTRY_ADDED)
                entry = next(entries, None)
            if entry is None or entry.ordinal > ordinal:
                yield Finding(Broken.ENTRY_GONE, seal=seal.number, ordinal=ordinal)
                continue
            checked.entries += 1
            leaves.append(entry.leaf)
            if entry.seal_id != seal.number or entry.mac_under(keys.get(seal.key_id, b"")) != entry.mac:
                yield entry.amiss(Broken.ENTRY_ALTERED)
            entry = next(entries, None)
        if merkle.root_of(leaves).hex() != seal.root:
            yield Finding(Broken.ROOT_DIFFERS, seal=seal.number, ordinal=seal.first)
    while entry:
        yield entry.amiss(Broken.ENTRY_ADDED)
        entry = next(entries, None)


@dataclass(frozen=True)
class _Entry:
    ordinal: int
    seal_id: int
    kind: str
    row_id: UUID
    leaf: bytes
    mac: bytes

    def amiss(self, broken: Broken) -> Finding:
        return Finding(broken, self.kind, self.row_id, seal=self.seal_id, ordinal=self.ordinal)

    def mac_under(self, key: bytes) -> bytes:
        return entry_mac(key, ordinal=self.ordinal, kind=self.kind, row_id=self.row_id, leaf=self.leaf)


def _entries() -> Iterator[_Entry]:
    with connection.chunked_cursor() as cursor:
        cursor.execute(ENTRIES)
        while rows := cursor.fetchmany(CHUNK):
            for ordinal, seal_id, kind, row_id, leaf, mac in rows:
                yield _Entry(ordinal, seal_id, kind, row_id, bytes(leaf), bytes(mac))


# --- The rows under them -------------------------------------------------------------------------------


def _rows_amiss(table: SealedTable) -> Iterator[Finding]:
    """Sealed rows that are gone, or no longer what was sealed."""
    found = _rows(
        f"""SELECT e.row_id, e.seal_id, e.ordinal, t."{table.trigger.key}" IS NULL
        FROM clinic_sealentry e LEFT JOIN {table.kind} t ON {table.key} = e.row_id
        WHERE e.kind = %s AND (t."{table.trigger.key}" IS NULL OR {table.leaf} <> e.leaf)""",  # noqa: S608
        [table.kind],
    )
    for row_id, seal, ordinal, gone in found:
        broken = Broken.ROW_GONE if gone else Broken.ROW_CHANGED
        yield Finding(broken, table.kind, row_id, seal=seal, ordinal=ordinal)


def _rows_without_seal(table: SealedTable) -> Iterator[Finding]:
    """Rows that no seal stands for and that never asked for one: written past the service."""
    found = _rows(
        f"""SELECT {table.key} FROM {table.kind} t
        WHERE NOT EXISTS (SELECT 1 FROM clinic_sealentry e WHERE e.kind = %s AND e.row_id = {table.key})
        AND NOT EXISTS (SELECT 1 FROM clinic_unsealed w WHERE w.kind = %s AND w.row_id = {table.key})""",  # noqa: S608
        [table.kind, table.kind],
    )
    yield from (Finding(Broken.ROW_ADDED, table.kind, row_id) for (row_id,) in found)


def _rows_backdated(table: SealedTable) -> Iterator[Finding]:
    """Rows that say they were written long before a seal which left nothing waiting, and came under a later one."""
    told_at = table.trigger.told_at
    if not told_at:
        return
    found = _rows(
        f"""SELECT e.row_id, e.seal_id, e.ordinal, t."{told_at}" FROM {table.kind} t
        JOIN clinic_sealentry e ON e.kind = %s AND e.row_id = {table.key}
        JOIN (SELECT number, max(at) FILTER (WHERE caught_up) OVER (
                ORDER BY number ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING) AS all_sealed_at
              FROM clinic_seal) s ON s.number = e.seal_id
        WHERE t."{told_at}" < s.all_sealed_at - %s""",  # noqa: S608
        [table.kind, LONGEST_REQUEST],
    )
    for row_id, seal, ordinal, told in found:
        yield Finding(Broken.ROW_BACKDATED, table.kind, row_id, seal=seal, ordinal=ordinal, told_at=told)


def _waiting(now: datetime) -> tuple[int, list[Finding]]:
    """How many rows wait for a seal, and those that have waited too long."""
    ((waiting,),) = _rows("SELECT count(*) FROM clinic_unsealed")
    late = "SELECT kind, row_id, asked_at FROM clinic_unsealed WHERE asked_at < %s ORDER BY seq"
    found = _rows(late, [now - WINDOW])
    return waiting, [Finding(Broken.OVERDUE, kind, row_id, told_at=at) for kind, row_id, at in found]
