"""What a seal says, as bytes under a key, and what can be wrong with one. Keyed hashes are HMAC-SHA-256 (RFC 2104)."""

import hashlib
import hmac
import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from ipaddress import IPv4Address, IPv6Address
from uuid import UUID

NOTHING_BEFORE = "0" * 64
ENTRY_MAC_BYTES = 16  # half of the hash: RFC 4868 keeps as much of it
# What stands for a row that was gone before it could be sealed: no row's own bytes are empty.
GONE = b""


class Broken(StrEnum):
    """What can be found wrong. The values are printed; none is used for another thing later."""

    SEAL_GONE = "seal_gone"
    SEAL_ALTERED = "seal_altered"
    SEAL_KEY_UNKNOWN = "seal_key_unknown"
    ENTRY_GONE = "entry_gone"
    ENTRY_ALTERED = "entry_altered"
    ENTRY_ADDED = "entry_added"
    ROOT_DIFFERS = "root_differs"
    ROW_CHANGED = "row_changed"
    ROW_GONE = "row_gone"
    ROW_ADDED = "row_added"
    ROW_BACKDATED = "row_backdated"
    ANCHOR_MISSING = "anchor_missing"
    ANCHOR_DIFFERS = "anchor_differs"
    OVERDUE = "overdue"
    EVENT_FORGED = "event_forged"
    ACT_UNTOLD = "act_untold"


OF_A_WHOLE_SEAL = {
    Broken.SEAL_GONE,
    Broken.SEAL_ALTERED,
    Broken.SEAL_KEY_UNKNOWN,
    Broken.ROOT_DIFFERS,
    Broken.ANCHOR_DIFFERS,
}


@dataclass(frozen=True)
class Finding:
    """One thing that does not fit. `ordinal` is its place among all entries, where it has one."""

    broken: Broken
    kind: str = ""
    row_id: UUID | None = None
    seal: int | None = None
    ordinal: int | None = None
    told_at: datetime | None = None

    @property
    def order(self) -> tuple[bool, int, bool, int, str]:
        """By seal, its rows before what is wrong with the seal as a whole; rows without one last, by their ids."""
        return (
            self.seal is None,
            self.seal or 0,
            self.broken in OF_A_WHOLE_SEAL,
            self.ordinal or 0,
            str(self.row_id or ""),
        )


def keyed_hash(key: bytes, data: bytes) -> bytes:
    """HMAC-SHA-256 of the data under the key, 32 bytes."""
    return hmac.new(key, data, hashlib.sha256).digest()


def key_id(key: bytes) -> str:
    """Names a key without telling it: 16 hexadecimal digits."""
    return keyed_hash(key, b"key id").hex()[:16]


def entry_mac(key: bytes, *, ordinal: int, kind: str, row_id: UUID, leaf: bytes) -> bytes:
    """The keyed hash that ties a row's leaf to its place among all entries, 16 bytes."""
    said = _said("entry", [str(ordinal), kind, str(row_id), leaf.hex()])
    return keyed_hash(key, said)[:ENTRY_MAC_BYTES]


def event_mac(key: bytes, values: Iterable[object]) -> str:
    """The mark that an event of the trail bears from the moment it is written: 32 hexadecimal digits."""
    said = json.dumps([_spelled(value) for value in values], separators=(",", ":"))
    return keyed_hash(key, _said("event", [said])).hex()[: 2 * ENTRY_MAC_BYTES]


def _spelled(value: object) -> object:
    """The same for a value that is about to be written and for the one that the database gives back."""
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat(timespec="microseconds")
    if isinstance(value, IPv4Address | IPv6Address):
        return value.packed.hex()
    if isinstance(value, list):
        return [_spelled(one) for one in value]
    return value if value is None or isinstance(value, int) else str(value)


@dataclass(frozen=True)
class SealWords:
    """All that a seal's keyed hash covers."""

    number: int
    at: datetime
    first: int
    count: int
    root: str
    previous: str
    caught_up: bool

    def mac(self, key: bytes) -> str:
        said = [
            str(self.number),
            self.at.astimezone(UTC).isoformat(timespec="microseconds"),
            str(self.first),
            str(self.count),
            self.root,
            self.previous,
            "caught up" if self.caught_up else "more waited",
        ]
        return keyed_hash(key, _said("seal", said)).hex()


def _said(what: str, words: Iterable[str]) -> bytes:
    """Words that hold no line end themselves, a line each, after what they are about."""
    return "\n".join([what, *words]).encode()
