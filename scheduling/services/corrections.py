"""What was written where it should not stand is put right: nothing is taken away, and what it counted is no more."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from clinic.enums import DocumentKind
from clinic.errors import Conflict, InvalidField, constraint_as_error
from clinic.models import Document
from clinic.rules.access import Actor
from clinic.services import corrections as record
from clinic.services.pins import PinProof
from scheduling.models import Visit
from scheduling.rules import corrections as rules
from scheduling.rules.notes import body_of
from scheduling.selectors import notes as selectors
from scheduling.services.bookings import staff_holding
from scheduling.services.notes import document_participation
from scheduling.services.reach_of_bookings import put_on_care_teams
from scheduling.services.visits import shows_more


@dataclass(frozen=True)
class Moved:
    """The draft where it belongs, and how much of what stood in the wrong place did not go along."""

    draft: Document
    measurements_left: int
    addenda_left: int


class AlreadyMoved(Conflict):
    code = "already_moved"
    title = "This note has been put in its right place already"


@transaction.atomic
def enter_in_error(*, actor: Actor, document: Document, proof: PinProof, reason: str, now: datetime) -> None:
    """A note or an addendum should not stand here. Of a note's visit its author may write another one."""
    record.enter_in_error(actor=actor, document=document, proof=proof, reason=reason, now=now)
    if document.kind == DocumentKind.VISIT_NOTE.value:
        _open_again(document)


@transaction.atomic
def move_note(
    *,
    actor: Actor,
    note: Document,
    proof: PinProof,
    reason: str,
    participation_id: UUID,
    moved_id: UUID,
    goals: Mapping[UUID, UUID],
    now: datetime,
) -> Moved:
    """Out of the chart where it does not belong, and a draft of its author's in the right one, in one act.

    One that is in error already is moved all the same, once: so two notes that were swapped come to their places.
    """
    right = selectors.participation_to_move_to(actor, participation_id, note.author_id)
    if right is None:
        raise InvalidField("/participation", "There is no such part of a visit in your reach", code="not_found")
    if right.pk == note.participation_note.participation_id:
        raise InvalidField("/participation", "The note stands there already", code="same")
    if not right.is_hers:
        raise InvalidField("/participation", "The note's author was not booked for this visit", code="not_own_visit")
    _in_error(actor, note, proof, reason, now)
    return write_again(actor=actor, note=note, participation=right, moved_id=moved_id, goals=goals, now=now)


@transaction.atomic(savepoint=False)
def write_again(
    *, actor: Actor, note: Document, participation: Any, moved_id: UUID, goals: Mapping[UUID, UUID], now: datetime
) -> Moved:
    """What stands in a note that is in error, as the draft of its author's for another part, or for the part put right.

    The part is as it was found for her.
    """
    body = _written(note)
    raws = body.get("measurements", [])
    kept = rules.moved_measurements(raws, None if participation.episode_id == note.episode_id else goals)
    with constraint_as_error({"note_moved_once": AlreadyMoved}):
        moved = document_participation(
            actor=actor,
            participation=participation,
            note_id=moved_id,
            body=rules.moved_body(body, participation_id=participation.pk, measurements=kept),
            digest="",
            now=now,
            author_id=note.author_id,
            moved_from=note.error,
        )
    _put_in_reach(participation.visit, moved)
    return Moved(draft=moved, measurements_left=len(raws) - len(kept), addenda_left=note.addenda.count())


def _written(note: Document) -> dict[str, Any]:
    """What its author wrote last."""
    if note.draft is not None or note.current_version is None:
        return note.draft or {}
    return body_of(bytes(note.current_version.content))


def _in_error(actor: Actor, note: Document, proof: PinProof, reason: str, now: datetime) -> None:
    if note.error is None:
        enter_in_error(actor=actor, document=note, proof=proof, reason=reason, now=now)
    else:
        record.require_right(actor=actor, document=note, proof=proof)


def _open_again(note: Document) -> None:
    """Whoever was booked for the visit owes it a note once more, and reaches the child until that is signed."""
    participation = selectors.participation_of(note)
    shows_more(participation)
    _put_in_reach(participation.visit, note)


def _put_in_reach(visit: Visit, note: Document) -> None:
    if note.author_id in staff_holding(visit):
        put_on_care_teams(visit, episodes=[note.episode_id], staff=[note.author_id])
