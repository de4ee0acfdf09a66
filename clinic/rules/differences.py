"""What changed from one version of a document to the next: by member, and in long texts word by word.

Texts and lists are matched by gestalt pattern matching (J. W. Ratcliff and D. E. Metzener, "Pattern Matching: The
Gestalt Approach", Dr. Dobb's Journal, July 1988), as Python's difflib does it.
"""

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from enum import StrEnum
from typing import Any

MOST_PAIRS = 250_000
_WORD_AND_SPACE = re.compile(r"\s*\S+|\s+")


class PieceKind(StrEnum):
    """What became of a stretch of text."""

    KEPT = "kept"
    REMOVED = "removed"
    ADDED = "added"


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch of text and what became of it."""

    kind: PieceKind
    text: str


@dataclass(frozen=True, slots=True)
class Difference:
    """One member that changed, by its JSON pointer (RFC 6901); a side where it was absent is None.

    `pieces` tell two texts apart: those kept and removed make up the earlier one, those kept and added the later.
    """

    pointer: str
    before: Any
    after: Any
    pieces: tuple[Piece, ...] = ()


def differences(before: Any, after: Any, pointer: str = "") -> list[Difference]:
    """What is not the same in two JSON values, in the order of their members."""
    if isinstance(before, Mapping) and isinstance(after, Mapping):
        return _of_members(before, after, pointer)
    if isinstance(before, list) and isinstance(after, list):
        return _of_items(before, after, pointer)
    if before == after and type(before) is type(after):
        return []
    if isinstance(before, str) and isinstance(after, str):
        return [Difference(pointer, before, after, text_pieces(before, after))]
    return [Difference(pointer, before, after)]


def _of_members(before: Mapping[str, Any], after: Mapping[str, Any], pointer: str) -> list[Difference]:
    found: list[Difference] = []
    for name in [*before, *(name for name in after if name not in before)]:
        place = f"{pointer}/{name.replace('~', '~0').replace('/', '~1')}"
        if name in before and name in after:
            found += differences(before[name], after[name], place)
        else:
            found.append(Difference(place, before.get(name), after.get(name)))
    return found


def _of_items(before: Sequence[Any], after: Sequence[Any], pointer: str) -> list[Difference]:
    """Items put in or taken out do not make all that follow different; a pointer counts in the later list."""
    one, other = ([json.dumps(item, sort_keys=True) for item in side] for side in (before, after))
    found: list[Difference] = []
    for kind, i, i_end, j, j_end in SequenceMatcher(None, one, other, autojunk=False).get_opcodes():
        if kind == "equal":
            continue
        paired = min(i_end - i, j_end - j)
        for step in range(paired):
            found += differences(before[i + step], after[j + step], f"{pointer}/{j + step}")
        found += [Difference(f"{pointer}/{j + paired}", item, None) for item in before[i + paired : i_end]]
        found += [Difference(f"{pointer}/{place}", None, after[place]) for place in range(j + paired, j_end)]
    return found


def text_pieces(before: str, after: str) -> tuple[Piece, ...]:
    """Two texts, word by word; stretches too long to be compared so are shown as a whole."""
    one, other = _WORD_AND_SPACE.findall(before), _WORD_AND_SPACE.findall(after)
    head = _alike(one, other)
    tail = _alike(one[head:][::-1], other[head:][::-1])
    middle = _matched(one[head : len(one) - tail], other[head : len(other) - tail])
    ends = [(PieceKind.KEPT, one[:head]), *middle, (PieceKind.KEPT, one[len(one) - tail :])]
    return _joined((kind, "".join(words)) for kind, words in ends if words)


def _alike(one: Sequence[str], other: Sequence[str]) -> int:
    """How many words both begin with."""
    same = 0
    for mine, theirs in zip(one, other, strict=False):
        if mine != theirs:
            break
        same += 1
    return same


def _matched(one: list[str], other: list[str]) -> list[tuple[PieceKind, list[str]]]:
    if len(one) * len(other) > MOST_PAIRS:
        return [(PieceKind.REMOVED, one), (PieceKind.ADDED, other)]
    found: list[tuple[PieceKind, list[str]]] = []
    for kind, i, i_end, j, j_end in SequenceMatcher(None, one, other, autojunk=False).get_opcodes():
        if kind == "equal":
            found.append((PieceKind.KEPT, one[i:i_end]))
        else:
            found += [(PieceKind.REMOVED, one[i:i_end]), (PieceKind.ADDED, other[j:j_end])]
    return found


def _joined(pieces: Any) -> tuple[Piece, ...]:
    """Neighbours of one kind as one piece."""
    found: list[Piece] = []
    for kind, text in pieces:
        if found and found[-1].kind == kind:
            found[-1] = Piece(kind, found[-1].text + text)
        else:
            found.append(Piece(kind, text))
    return tuple(found)
