"""How much of one note's own words stands in another note: shares of word shingles, and the passages alike.

A. Z. Broder, "On the resemblance and containment of documents", Compression and Complexity of Sequences 1997,
pages 21 to 29: a shingle is a run of w words next to each other, S(A) the set of a text's shingles (its option B),
resemblance |S(A) & S(B)| / |S(A) | S(B)|, containment of A in B |S(A) & S(B)| / |S(A)|. What is left out, the
smallest text and the share from which two texts are called almost the same are decisions of this project.
"""

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

WORDS_IN_A_SHINGLE = 4
FEWEST_SHINGLES = 12
ALMOST_THE_SAME = Fraction(4, 5)
_WORD = re.compile(r"\w+(?:['\u2019-]\w+)*")
Shingle = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Word:
    """One word, without its case, and where it stands in its section."""

    text: str
    starts: int
    ends: int


@dataclass(frozen=True, slots=True)
class Run:
    """Words of one section that stand next to each other."""

    section: str
    words: tuple[Word, ...]


@dataclass(frozen=True, slots=True)
class Passage:
    """A stretch of a section that stands in the other text as well."""

    section: str
    text: str


def words_in(text: str) -> tuple[Word, ...]:
    """The words of a text in order; case, punctuation and spacing make no difference."""
    return tuple(Word(found[0].casefold(), found.start(), found.end()) for found in _WORD.finditer(text))


def word_set(text: str) -> set[str]:
    """The words that a text has, without their places."""
    return {found.casefold() for found in _WORD.findall(text)}


def runs_of(sections: Mapping[str, str], *, without: Iterable[str] = ()) -> list[Run]:
    """The words of each section, cut wherever one of these phrases stands, so that no shingle spans the gap."""
    phrases = {tuple(word.text for word in words_in(phrase)) for phrase in without} - {()}
    longest_first = sorted(phrases, key=lambda phrase: (-len(phrase), phrase))
    return [
        Run(section, words)
        for section, text in sections.items()
        for words in _cut(words_in(text), longest_first)
        if words
    ]


def _cut(words: tuple[Word, ...], phrases: Sequence[Shingle]) -> list[tuple[Word, ...]]:
    pieces: list[tuple[Word, ...]] = []
    begun = place = 0
    while place < len(words):
        found = next((phrase for phrase in phrases if _stands_at(words, place, phrase)), None)
        if found is None:
            place += 1
            continue
        pieces.append(words[begun:place])
        place += len(found)
        begun = place
    return [*pieces, words[begun:]]


def _stands_at(words: Sequence[Word], place: int, phrase: Shingle) -> bool:
    return tuple(word.text for word in words[place : place + len(phrase)]) == phrase


def shingles_of(runs: Iterable[Run], *, size: int = WORDS_IN_A_SHINGLE) -> frozenset[Shingle]:
    """The set of a text's shingles of so many words each."""
    return frozenset(shingle for run in runs for shingle in _shingles(run, size))


def _shingles(run: Run, size: int) -> list[Shingle]:
    texts = [word.text for word in run.words]
    return [tuple(texts[place : place + size]) for place in range(len(texts) - size + 1)]


def resemblance(one: Collection[Shingle], other: Collection[Shingle]) -> Fraction:
    """How alike two texts are, from 0 to 1; two texts without a shingle are not alike."""
    either = set(one) | set(other)
    return Fraction(len(set(one) & set(other)), len(either)) if either else Fraction(0)


def containment(one: Collection[Shingle], other: Collection[Shingle]) -> Fraction:
    """The share of the one text that stands in the other, from 0 to 1; of a text without a shingle none does."""
    return Fraction(len(set(one) & set(other)), len(set(one))) if one else Fraction(0)


def may_contain(
    words: Collection[str], other: Collection[str], *, shingles: int, share: Fraction, size: int = WORDS_IN_A_SHINGLE
) -> bool:
    """Whether so many shingles made of these words can stand in a text of those others to this share.

    A cheap look before the shingles: a word that the other text lacks breaks a shingle, and one shingle is broken by
    as many words as it has at the most.
    """
    lacking = len(set(words) - set(other))
    return Fraction(lacking, size) <= (1 - share) * shingles


def passages(
    sections: Mapping[str, str], runs: Iterable[Run], alike: Collection[Shingle], *, size: int = WORDS_IN_A_SHINGLE
) -> list[Passage]:
    """The stretches of a text, as they were written, that its shingles among these cover."""
    found: list[Passage] = []
    for run in runs:
        for first, last in _covered(run, alike, size):
            text = sections[run.section][run.words[first].starts : run.words[last].ends]
            found.append(Passage(run.section, text))
    return found


def _covered(run: Run, alike: Collection[Shingle], size: int) -> list[tuple[int, int]]:
    """First and last word of each stretch; shingles that touch or overlap are one stretch."""
    stretches: list[tuple[int, int]] = []
    for place, shingle in enumerate(_shingles(run, size)):
        if shingle not in alike:
            continue
        last = place + size - 1
        if stretches and place <= stretches[-1][1] + 1:
            stretches[-1] = (stretches[-1][0], last)
        else:
            stretches.append((place, last))
    return stretches
