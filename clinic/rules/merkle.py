"""The Merkle tree of RFC 6962, section 2.1: one hash that stands for many rows in an order.

A leaf is hashed behind a zero byte and an inner node behind a one, so that neither can be given out as the other.
"""

import hashlib
from collections.abc import Sequence

LEAF = b"\x00"
NODE = b"\x01"


class NoSuchLeaf(IndexError):
    """A path was asked for a leaf that the tree does not have."""


def leaf_hash(data: bytes) -> bytes:
    """The 32 bytes that stand for one entry."""
    return hashlib.sha256(LEAF + data).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """The 32 bytes that stand for two subtrees."""
    return hashlib.sha256(NODE + left + right).digest()


def root_of(leaves: Sequence[bytes]) -> bytes:
    """The root over leaf hashes in this order, 32 bytes; over none it is the hash of nothing."""
    if not leaves:
        return hashlib.sha256(b"").digest()
    # Nodes are joined in pairs, level by level; the last one without a neighbour rises as it is. That is the tree of
    # the RFC, which splits at the largest power of two, without its recursion.
    level = list(leaves)
    while len(level) > 1:
        level = _joined(level)
    return level[0]


def path_of(leaves: Sequence[bytes], position: int) -> list[bytes]:
    """What must be joined to the leaf at this position, counted from 0, to come to the root: the audit path."""
    if not 0 <= position < len(leaves):
        raise NoSuchLeaf(position)
    path, level = [], list(leaves)
    while len(level) > 1:
        neighbour = position ^ 1
        if neighbour < len(level):
            path.append(level[neighbour])
        level, position = _joined(level), position // 2
    return path


def root_by(leaf: bytes, path: Sequence[bytes], *, position: int, count: int) -> bytes | None:
    """The root to which this path leads from the leaf at this position of so many; None if it is of another length."""
    found, steps, last = leaf, list(path), count - 1
    while last > 0:
        if position ^ 1 <= last:
            if not steps:
                return None
            step = steps.pop(0)
            found = node_hash(step, found) if position % 2 else node_hash(found, step)
        position, last = position // 2, last // 2
    return None if steps else found


def _joined(level: list[bytes]) -> list[bytes]:
    pairs = [node_hash(*level[at : at + 2]) for at in range(0, len(level) - 1, 2)]
    return pairs + level[len(pairs) * 2 :]
