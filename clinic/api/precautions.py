"""Doors to precautions."""

from typing import Any
from uuid import UUID

from rest_framework import serializers

from clinic.api.examples import example
from clinic.api.fields import Day, Id, Pattern, QueryFlag, StrictInput, Text, word
from clinic.api.views import ActDoor, FixedDoor, ListDoor, RowDoor
from clinic.enums import PrecautionKind, PrecautionSource
from clinic.models import Precaution
from clinic.rules.access import Action
from clinic.selectors import precautions as selectors
from clinic.selectors.rows import one
from clinic.services import precautions as services

PRECAUTION = {
    "client": "0198a1f0-0000-7000-8000-0000000000c1",
    "kind": "loading",
    "text": "No inversion, impact or load on the neck until cleared",
    "refused": ["inversion", "impact", "neck_load"],
    "warned": ["swinging"],
    "set_by": "physician",
    "may_be_lifted_by": "physician",
    "starts_on": "2026-09-10",
}


def properties(**options: Any) -> serializers.ListField:
    """Properties of activities, as words in small letters."""
    return serializers.ListField(child=Pattern(r"^[a-z][a-z0-9_]*\Z", max_length=40), max_length=40, **options)


@example(PRECAUTION)
class PrecautionIn(StrictInput):
    """What must not be done with a child (`refused`), or only with care (`warned`)."""

    client = Id()
    kind = word(PrecautionKind)
    text = Text(max_length=1000, multiline=True)
    refused = properties(required=False)
    warned = properties(required=False)
    set_by = word(PrecautionSource)
    may_be_lifted_by = word(PrecautionSource, required=False)
    starts_on = Day()


@example({"lifted_on": "2026-09-24", "lifted_by": "physician"})
class PrecautionLiftIn(StrictInput):
    """From which day it no longer holds, and by whose word."""

    lifted_on = Day()
    lifted_by = word(PrecautionSource)


@example(
    {
        "id": "0198a1f0-0000-7000-8000-0000000000b5",
        "version": 1,
        **PRECAUTION,
        "recorded_by": "0198a1f0-0000-7000-8000-0000000000a1",
        "lifted_on": None,
        "lifted_by": None,
        "lifted_recorded_by": None,
    }
)
class PrecautionRecord(serializers.Serializer):
    """A precaution, with who set it, who may lift it, and whether it was lifted."""

    id = serializers.UUIDField()
    version = serializers.IntegerField()
    client = serializers.UUIDField(source="client_id")
    kind = word(PrecautionKind)
    text = serializers.CharField()
    refused = serializers.ListField(child=serializers.CharField())
    warned = serializers.ListField(child=serializers.CharField())
    set_by = word(PrecautionSource)
    may_be_lifted_by = word(PrecautionSource)
    starts_on = serializers.DateField()
    recorded_by = serializers.UUIDField(source="recorded_by_id")
    lifted_on = serializers.DateField(allow_null=True)
    lifted_by = word(PrecautionSource, allow_null=True)
    lifted_recorded_by = serializers.UUIDField(source="lifted_recorded_by_id", allow_null=True)


@example({"client": "0198a1f0-0000-7000-8000-0000000000c1", "live": "true"})
class PrecautionFilter(StrictInput):
    client = Id(required=False)
    live = QueryFlag(required=False, help_text="Those to be heeded today, or the others")


class PrecautionRow(RowDoor):
    resource = "precautions"

    def find(self, row_id: UUID) -> Precaution:
        return one(selectors.precautions_for(self.actor), row_id)

    def find_for_change(self, row_id: UUID) -> Precaution:
        return one(selectors.precautions_for(self.actor, Action.CHANGE_PRECAUTIONS), row_id, lock=True)


class PrecautionList(ListDoor):
    """The precautions of the children in your reach."""

    resource = "precautions"
    actions = {"GET": Action.SEE_PRECAUTIONS}
    outputs = {"GET": PrecautionRecord}
    filters = PrecautionFilter
    order = ("-starts_on", "-id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.precautions_for(self.actor, **asked)


class PrecautionDetail(PrecautionRow, FixedDoor):
    """One precaution."""

    actions = {"GET": Action.SEE_PRECAUTIONS, "PUT": Action.CHANGE_PRECAUTIONS}
    inputs = {"PUT": PrecautionIn}
    outputs = {"GET": PrecautionRecord, "PUT": PrecautionRecord}
    told_as = {
        "GET": "One precaution",
        "PUT": "Record a precaution.\n\nIt stays as it was recorded, and holds until it is lifted.",
    }
    queued = ("PUT",)
    form = PrecautionIn

    def exists(self, row_id: UUID) -> bool:
        return selectors.precaution_exists(row_id)

    def create(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> Precaution:
        return services.record_precaution(actor=self.actor, row_id=row_id, digest=digest, now=self.now, **wanted)


class LiftPrecaution(PrecautionRow, ActDoor):
    """Record that a precaution no longer holds from a day on.

    Only a therapist records it, only by the word of who may lift it, and not for a day before the precaution.
    """

    act = "lift"
    actions = {"POST": Action.CHANGE_PRECAUTIONS}
    inputs = {"POST": PrecautionLiftIn}
    outputs = {"POST": PrecautionRecord}

    def perform(self, row: Precaution, wanted: dict[str, Any]) -> Precaution:
        return services.lift_precaution(actor=self.actor, precaution=row, now=self.now, **wanted)
