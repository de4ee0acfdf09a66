"""Doors by which what was recorded of a visit is put right: undone, entered in error, or said to be of another time."""

from typing import Any
from uuid import UUID

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from clinic.api.examples import example
from clinic.api.fields import Instant, StrictInput, Text
from clinic.api.views import ListDoor
from clinic.rules.access import Action
from clinic.services import pins
from scheduling.api.notes import Pin
from scheduling.api.visits import StepDoor, VisitCancel, VisitRecord
from scheduling.selectors import visits as selectors
from scheduling.services import steps
from scheduling.services import visit_corrections as services


@example({"reason": "Checked in for her brother."})
class UndoIn(StrictInput):
    """Why it is not so."""

    reason = Text(max_length=500)


class ParticipationUndo(StepDoor):
    """It was said by mistake that the child had come or that it was over: booked as before

    Refused while a signed note says that it took place. Needs If-Match."""

    act = "undo"
    inputs = {"POST": UndoIn}
    form = UndoIn
    observes = ()
    queued = ()  # what a mistake was is looked at with what is there now

    def perform(self, row: Any, wanted: dict[str, Any]) -> None:
        steps.undo(actor=self.actor, participation=row, reason=wanted["reason"], now=self.now)


class ParticipationEnterInError(ParticipationUndo):
    """This part of a visit never was: it stays to be read, counts nowhere and holds nothing

    Refused while a note of it stands. There is no way back. Needs If-Match."""

    act = "enter_in_error"

    def perform(self, row: Any, wanted: dict[str, Any]) -> None:
        steps.enter_in_error(actor=self.actor, participation=row, reason=wanted["reason"], now=self.now)


@example(
    {
        "from_status": "fulfilled",
        "to_status": "booked",
        "at": "2026-03-31T20:10:00Z",
        "by": "0198a1f0-0000-7000-8000-0000000000a1",
        "reason": "Checked in for her brother.",
    }
)
class ParticipationChangeRecord(serializers.Serializer):
    """One step of a child's part in a visit."""

    id = serializers.UUIDField()
    from_status = serializers.CharField()
    to_status = serializers.CharField()
    at = Instant()
    by = serializers.UUIDField(source="by_id", allow_null=True)
    reason = serializers.CharField()


class ParticipationChanges(ListDoor):
    """The steps of a child's part in a visit, newest first."""

    resource = "participations"
    act = "changes"
    actions = {"GET": Action.SEE_VISITS}
    outputs = {"GET": ParticipationChangeRecord}
    order = ("-at", "-id")

    def rows(self, asked: dict[str, Any]) -> Any:
        self.part = selectors.participation_for(self.actor, self.kwargs["id"])
        return selectors.steps_of(self.part)

    def touch_rows(self, rows: Any) -> None:
        self.touch_row(self.part)


@example(
    {
        "starts_at": "2026-03-30T15:00:00-05:00",
        "ends_at": "2026-03-30T15:45:00-05:00",
        "reason": "Entered for Tuesday; it was on Monday.",
    }
)
class VisitCorrectIn(StrictInput):
    """When it was, and why that is said only now."""

    starts_at = Instant()
    ends_at = Instant()
    reason = Text(max_length=500)
    pin = Pin(required=False, help_text="A therapist's, where a note was signed for another day")


class VisitCorrect(VisitCancel):
    """Put right when a visit that took place was

    Its children's own times, its day, and whatever is still to be signed go with it. A note that was signed for another
    day is entered in error, and a draft of its author's again, which she signs as a late entry: that needs a
    therapist's PIN. What was recorded before stays to be read in `corrections`. Needs If-Match and an Idempotency-Key.
    """

    act = "correct"
    queued = ()
    inputs = {"POST": VisitCorrectIn}
    outputs = {"POST": VisitRecord}
    key_required = True
    observes = ()

    def post(self, request: Request, id: UUID) -> Response:
        wanted = self.read(VisitCorrectIn)
        pin = wanted.pop("pin", None)
        selectors.visit_for(self.actor, id, Action.CONDUCT_VISITS)
        # The PIN is asked first and its misses are counted in a transaction of their own.
        proof = pins.prove(actor=self.actor, pin=pin, now=self.now) if pin else None
        return self.write(lambda: self._correct(id, wanted, proof))

    def _correct(self, visit_id: UUID, wanted: dict[str, Any], proof: pins.PinProof | None) -> Response:
        visit = selectors.visit_to_change(self.actor, visit_id, Action.CONDUCT_VISITS)
        self.require_match(visit.version)
        services.correct_times(actor=self.actor, visit=visit, proof=proof, now=self.now, **wanted)
        return self.present()
