"""Reads of the feed: what no running transaction can still precede, in the order in which it became certain."""

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db import connection

from clinic.errors import DomainError

# Below it every transaction that can write to the feed has ended: the lowest that the snapshot knows as running, those
# of other databases of the same server left out, as far as the table of locks, looked at later, says that they are.
HORIZON = """
SELECT COALESCE(min(running), pg_snapshot_xmax(pg_current_snapshot()))::text::bigint
FROM pg_snapshot_xip(pg_current_snapshot()) running
WHERE NOT EXISTS (
    SELECT 1 FROM pg_locks held JOIN pg_stat_activity session ON session.pid = held.pid
    WHERE held.locktype = 'transactionid' AND held.mode = 'ExclusiveLock' AND held.granted
      AND held.transactionid = running::xid
      AND session.datid <> (SELECT oid FROM pg_database WHERE datname = current_database()))"""
# One statement, hence one snapshot: what was written below the horizon is seen here. The sequence alone would not do:
# a row may take its number early and be committed late, below what was read already.
AFTER = f"""
SELECT change.transaction_id, change.seq, change.kind, change.record_kind, change.record_id, change.client_id,
       change.episode_id
FROM clinic_changefeed change
WHERE change.organization_id = %s AND (change.transaction_id, change.seq) > (%s, %s)
  AND change.transaction_id < ({HORIZON})
ORDER BY change.transaction_id, change.seq LIMIT %s"""  # noqa: S608
HIGHEST = "SELECT pg_snapshot_xmax(pg_current_snapshot())::text::bigint"


class FeedRestarted(DomainError):
    """The position is another database's: this one was restored since (410)."""

    status = 410
    code = "feed_restarted"
    title = "The feed has begun anew: fetch everything, then follow it from now on"


@dataclass(frozen=True)
class Position:
    """How far a reader has come: the last transaction that it read from, and the last row of it."""

    transaction_id: int
    seq: int


@dataclass(frozen=True)
class Change:
    """One change of one record, by ids."""

    position: Position
    kind: str
    record_kind: str
    record_id: UUID
    client_id: UUID | None
    episode_id: UUID | None


def position_now() -> Position:
    """Before whatever is not certain yet: a reader that begins here misses nothing that is committed later."""
    return Position(_ask(HORIZON, [])[0][0], 0)


def changes_after(organization_id: UUID, position: Position, *, limit: int) -> list[Change]:
    """The changes beyond this position that are certain, at most so many; FeedRestarted where it lies ahead of all."""
    if position.transaction_id > _ask(HIGHEST, [])[0][0]:
        raise FeedRestarted
    rows = _ask(AFTER, [organization_id, position.transaction_id, position.seq, limit])
    return [Change(Position(row[0], row[1]), *row[2:]) for row in rows]


def _ask(statement: str, values: list[Any]) -> list[tuple]:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
        return cursor.fetchall()
