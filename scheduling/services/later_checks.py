"""What takes longer to find than signing should: texts almost the same, values far out. Flagged in the background."""

from collections.abc import Mapping
from datetime import datetime
from fractions import Fraction
from typing import Any
from uuid import UUID

from django.db import transaction

from clinic.enums import DocumentKind, FlagSeverity
from clinic.models import Document
from clinic.rules.flags import Flag
from clinic.rules.signing_limits import MONTHS
from clinic.services.flags import raise_flags
from goals.progress.decimals import written
from goals.selectors.spread import values_far_out
from scheduling.rules.notes import body_of
from scheduling.rules.sections import SECTIONS
from scheduling.rules.similarity import (
    ALMOST_THE_SAME,
    FEWEST_SHINGLES,
    Run,
    Shingle,
    containment,
    may_contain,
    passages,
    resemblance,
    runs_of,
    shingles_of,
    word_set,
)
from scheduling.selectors import note_checks as selectors
from scheduling.selectors.note_templates import wordings

MOST_PASSAGES = 20


def check_document(document_id: UUID, *, now: datetime) -> int:
    """Flag the version that stands now with what is found; how many flags are new. Twice is the same as once."""
    document = selectors.document_to_check(document_id)
    if document is None:
        return 0
    found = [*_alike(document), *_far_out(document)]
    return _raise(document, found, now) if found else 0


@transaction.atomic
def _raise(checked: Document, found: list[Flag], now: datetime) -> int:
    """Only on the version that was checked: the next one brings a message of its own."""
    rows = Document.objects.select_for_update(of=("self",), no_key=True)
    document = rows.filter(pk=checked.pk, current_version_id=checked.current_version_id).first()
    return raise_flags(document=document, found=found, now=now) if document else 0


def _far_out(document: Document) -> list[Flag]:
    return [
        Flag(
            "value_outside_spread",
            FlagSeverity.NOTICE,
            {
                "goal": str(goal.pk),
                "number": goal.number,
                "value": written(found.value),
                "middle": written(found.middle),
                "modified_z": written(found.score),
                "visits": found.visits,
            },
            subject=str(goal.pk),
            sentence=f"goal {goal.number}: {found.sentence}"[:500],
        )
        for goal, found in values_far_out(document)
    ]


def _alike(document: Document) -> list[Flag]:
    """The author's earlier note that holds most of this one's own words, if it holds almost all."""
    version = document.current_version
    if document.kind != DocumentKind.VISIT_NOTE.value or version is None:
        return []
    body = body_of(bytes(version.content))
    left_out = shingles_of(run for wording in wordings(document.organization_id) for run in runs_of(wording))
    runs, own = _own(body, left_out)
    if len(own) < FEWEST_SHINGLES:
        return []
    earlier = selectors.earlier_notes(document, signed_before=version.frozen_at)
    words = {word for shingle in own for word in shingle}
    # The later of two that hold as much comes first, and stays.
    held = [
        (containment(own, theirs), note, theirs)
        for note in earlier
        if _may_hold(note, words, len(own))
        for _, theirs in [_own(note.body, left_out)]
    ]
    share, note, theirs = max(held, key=lambda each: each[0], default=(Fraction(0), None, frozenset()))
    if note is None or share < ALMOST_THE_SAME:
        return []
    return [_alike_flag(share, note, resemblance(own, theirs), _shown(body, runs, own & theirs))]


def _may_hold(note: selectors.EarlierNote, words: set[str], shingles: int) -> bool:
    """Most notes have so few words in common with this one that their shingles need not be made."""
    theirs = {word for text in _sections(note.body).values() for word in word_set(text)}
    return may_contain(words, theirs, shingles=shingles, share=ALMOST_THE_SAME)


def _own(body: Mapping[str, Any], left_out: frozenset[Shingle]) -> tuple[list[Run], frozenset[Shingle]]:
    """A note's own words: without names of activities, and without the wording of templates."""
    runs = runs_of(_sections(body), without=[activity["name"] for activity in body.get("activities", ())])
    return runs, shingles_of(runs) - left_out


def _sections(body: Mapping[str, Any]) -> dict[str, str]:
    return {name: body[name] for name in SECTIONS if body.get(name)}


def _shown(body: Mapping[str, Any], runs: list[Run], alike: frozenset[Shingle]) -> list[dict[str, str]]:
    found = passages(_sections(body), runs, alike)[:MOST_PASSAGES]
    return [{"section": passage.section, "text": passage.text} for passage in found]


def _alike_flag(share: Fraction, note: selectors.EarlierNote, mutual: Fraction, shown: list[dict[str, str]]) -> Flag:
    percent, day = int(share * 100), note.service_date
    return Flag(
        "text_like_earlier_note",
        FlagSeverity.WARNING,
        {"share": percent, "resemblance": int(mutual * 100), "earlier_on": day.isoformat(), "passages": shown},
        sentence=f"{percent} % of this note's own words stand in the author's note of "
        f"{day.day} {MONTHS[day.month - 1]} {day.year}",
        refers_to=note.document,
    )
