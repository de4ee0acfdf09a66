"""Doors by which what was signed is put right: it stays as it was, and something is added to it."""

from typing import Any
from uuid import UUID

from rest_framework import serializers
from rest_framework.response import Response

from clinic.api.examples import example
from clinic.api.fields import Id, StrictInput, Text
from clinic.enums import DocumentKind
from clinic.rules.access import Action
from clinic.services import pins
from scheduling.api.notes import NoteAct, NoteRecord, SignIn
from scheduling.selectors import notes as selectors
from scheduling.services import corrections as services


@example({"pin": "580213", "reason": "Written for the visit of another day."})
class EnterInErrorIn(SignIn):
    """The PIN, and why it should not stand in this record."""

    reason = Text(multiline=True, max_length=2000)


class NoteEnterInError(NoteAct):
    """Say that a note should not stand in this record

    By a therapist, or by its author before she first signs it. It stays readable, with who said so, when and why; its
    numbers count no more, nor do its addenda. There is no way back: its author may write another note. Needs If-Match.
    """

    act = "enter_in_error"
    actions = {"POST": Action.CORRECT_NOTES}
    inputs = {"POST": EnterInErrorIn}
    form = EnterInErrorIn
    changes_version = True

    def perform(self, note: Any, wanted: dict[str, Any], proof: pins.PinProof) -> None:
        self.require_match(note.version)
        services.enter_in_error(actor=self.actor, document=note, proof=proof, reason=wanted["reason"], now=self.now)


class AddendumEnterInError(NoteEnterInError):
    """Say that an addendum should not stand in this record

    What it corrected counts again as it was before. Needs If-Match."""

    resource = "addenda"
    kind = DocumentKind.ADDENDUM


@example({"goal": "0198a1f0-0000-7000-8000-0000000000e1", "becomes": "0198a1f0-0000-7000-8000-0000000000e2"})
class MovedGoalIn(StrictInput):
    """Which goal of the right child a goal that was measured stands for."""

    goal = Id()
    becomes = Id()


@example(
    {
        "pin": "580213",
        "reason": "This visit was her twin's.",
        "participation": "0198a1f0-0000-7000-8000-0000000000b2",
        "note": "0198a1f0-0000-7000-8000-0000000000d2",
        "goals": [{"goal": "0198a1f0-0000-7000-8000-0000000000e1", "becomes": "0198a1f0-0000-7000-8000-0000000000e2"}],
    }
)
class MoveIn(EnterInErrorIn):
    """The PIN, why, the part of a visit that the note belongs to, and the id that it is to have there."""

    participation = Id(help_text="The part of a visit to which it belongs; its author is booked for that visit")
    note = Id(help_text="The id of the new draft, made by you")
    goals = MovedGoalIn(  # type: ignore[call-arg]
        many=True,
        required=False,
        max_length=200,
        help_text="Numbers go to another child only where this says to which goal; within an episode all go along",
    )


class MovedNoteRecord(serializers.Serializer):
    """The note where it did not belong, and the draft where it does."""

    in_error = NoteRecord()
    draft = NoteRecord()
    measurements_left = serializers.IntegerField(help_text="Numbers that did not go along, for want of a goal")
    addenda_left = serializers.IntegerField(help_text="Addenda that did not go along: their author writes them again")


class NoteMove(NoteAct):
    """Move a note to where it belongs: out of the wrong chart, a draft in the right one, in one act

    By a therapist who reaches both, or by its author before she first signs it. Where it stood it is entered in error;
    whoever reaches only that chart no longer reads it. Where it belongs its author finds what she wrote as a draft,
    and signs it as a late entry. A note in error already is moved too, once: so two that were swapped come to their
    places. Needs If-Match.
    """

    act = "move"
    actions = {"POST": Action.CORRECT_NOTES}
    inputs = {"POST": MoveIn}
    outputs = {"POST": MovedNoteRecord}
    form = MoveIn
    changes_version = True

    def _act(self, note_id: UUID, wanted: dict[str, Any], proof: pins.PinProof) -> Response:
        note = selectors.note_to_change(self.actor, note_id, kind=self.kind)
        self.require_match(note.version)
        moved = services.move_note(
            actor=self.actor,
            note=note,
            proof=proof,
            reason=wanted["reason"],
            participation_id=wanted["participation"],
            moved_id=wanted["note"],
            goals={pair["goal"]: pair["becomes"] for pair in wanted.get("goals", [])},
            now=self.now,
        )
        was, becomes = self.shown(note), selectors.note_for(self.actor, moved.draft.pk, kind=self.kind)
        for row in (was, becomes):
            self.touch_row(row)
        answer = {
            "in_error": was,
            "draft": becomes,
            "measurements_left": moved.measurements_left,
            "addenda_left": moved.addenda_left,
        }
        shown = MovedNoteRecord(answer, context={"view": self}).data
        return self.show(shown, version=was.version, status=201, location=f"/api/v1/notes/{becomes.pk}/")

    def ask_reach_again(self, kept: Response) -> None:
        for row_id in (self.kwargs["id"], self.read(MoveIn)["note"]):
            self.touch_row(selectors.note_for(self.actor, row_id, kind=self.kind))
