"""Doors to supervision assignments and handovers."""

from typing import Any
from uuid import UUID

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from clinic.api.examples import example
from clinic.api.fields import Day, Id, StrictInput, Text, word
from clinic.api.periods import PeriodEndIn, PeriodIn, PeriodRecord
from clinic.api.views import ApiView, ChangeDoor, ListDoor
from clinic.enums import ScopeKind, SupervisionKind
from clinic.models import Supervision
from clinic.rules.access import Action
from clinic.selectors import supervision as selectors
from clinic.selectors.rows import one
from clinic.services import supervision as services

ASSIGNED = {
    "assistant": "0198a1f0-0000-7000-8000-0000000000a1",
    "supervisor": "0198a1f0-0000-7000-8000-0000000000a2",
    "kind": "primary",
    "scope": "site",
    "site": "0198a1f0-0000-7000-8000-000000000001",
    "starts_on": "2026-03-16",
    "ends_on": None,
}
HANDED_OVER = {
    "former": "0198a1f0-0000-7000-8000-0000000000a2",
    "successor": "0198a1f0-0000-7000-8000-0000000000a3",
    "starts_on": "2026-04-01",
    "reason": "Left the practice; her open notes are read by her successor",
}


@example(ASSIGNED)
class SupervisionIn(PeriodIn):
    """A therapist answers for an assistant: everywhere, at one site, or in one episode."""

    assistant = Id()
    supervisor = Id()
    kind = word(SupervisionKind, required=False)
    scope = word(ScopeKind)
    site = Id(required=False, allow_null=True)
    episode = Id(required=False, allow_null=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        attrs = super().validate(attrs)
        for member in (ScopeKind.SITE, ScopeKind.EPISODE):
            given, needed = attrs.get(member.value) is not None, attrs["scope"] == member
            if given != needed:
                code = "required" if needed else "not_in_this_scope"
                text = "This scope names its place" if needed else "This scope names no such place"
                raise serializers.ValidationError({member.value: [serializers.ErrorDetail(text, code=code)]})
        return attrs


@example({"id": "0198a1f0-0000-7000-8000-0000000000b1", "version": 1, **ASSIGNED, "episode": None})
class SupervisionRecord(PeriodRecord):
    """One assignment. The narrowest scope in force wins."""

    assistant = serializers.UUIDField(source="assistant_id")
    supervisor = serializers.UUIDField(source="supervisor_id")
    kind = word(SupervisionKind)
    scope = word(ScopeKind)
    site = serializers.UUIDField(source="site_id", allow_null=True)
    episode = serializers.UUIDField(source="episode_id", allow_null=True)


@example({"assistant": "0198a1f0-0000-7000-8000-0000000000a1", "on": "2026-03-16"})
class SupervisionFilter(StrictInput):
    assistant = Id(required=False)
    supervisor = Id(required=False)
    on = Day(required=False)


@example(HANDED_OVER)
class SuccessionIn(StrictInput):
    """A handover: from a day on the successor may co-sign what fell to the former."""

    former = Id()
    successor = Id()
    starts_on = Day()
    reason = Text(max_length=500)


@example(
    {
        "id": "0198a1f0-0000-7000-8000-0000000000d1",
        **HANDED_OVER,
        "by": "0198a1f0-0000-7000-8000-0000000000a9",
        "at": "2026-03-31T15:00:00Z",
    }
)
class SuccessionRecord(serializers.Serializer):
    """A handover as it was recorded; it is never changed."""

    id = serializers.UUIDField()
    former = serializers.UUIDField(source="former_id")
    successor = serializers.UUIDField(source="successor_id")
    starts_on = serializers.DateField()
    reason = serializers.CharField()
    by = serializers.UUIDField(source="by_id")
    at = serializers.DateTimeField()


class SupervisionDoor(ApiView):
    resource = "supervisions"

    def touch_row(self, row: Supervision) -> None:
        if row.episode is not None:
            self.touch(row.episode.client_id, row.episode_id)


class SupervisionList(SupervisionDoor, ListDoor):
    """Who answers for whom, on a day or ever."""

    actions = {"GET": Action.SEE_SUPERVISION}
    outputs = {"GET": SupervisionRecord}
    filters = SupervisionFilter
    order = ("-starts_on", "-id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.supervisions_for(self.actor, **asked)


class SupervisionDetail(SupervisionDoor, ChangeDoor):
    """One supervision assignment."""

    actions = {
        "GET": Action.SEE_SUPERVISION,
        "PUT": Action.CHANGE_SUPERVISION,
        "PATCH": Action.CHANGE_SUPERVISION,
    }
    inputs = {"PUT": SupervisionIn, "PATCH": PeriodEndIn}
    outputs = {"GET": SupervisionRecord, "PUT": SupervisionRecord, "PATCH": SupervisionRecord}
    told_as = {
        "GET": "One supervision assignment",
        "PUT": "Assign a supervisor to an assistant.\n\nOn the first day the one holds the role of assistant, the "
        "other that of therapist. A second primary supervisor in the same scope on some of the days answers 409.",
        "PATCH": "Set the last day of an assignment",
    }
    form = SupervisionIn
    change_form = PeriodEndIn

    def find(self, row_id: UUID) -> Supervision:
        return one(selectors.supervisions_for(self.actor), row_id)

    def find_for_change(self, row_id: UUID) -> Supervision:
        return one(selectors.supervisions_for(self.actor, Action.CHANGE_SUPERVISION), row_id, lock=True)

    def exists(self, row_id: UUID) -> bool:
        return selectors.supervision_exists(row_id)

    def create(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> Supervision:
        return services.assign_supervision(actor=self.actor, row_id=row_id, digest=digest, now=self.now, **wanted)

    def change(self, row: Supervision, wanted: dict[str, Any]) -> Supervision:
        ends_on = wanted.get("ends_on", row.ends_on)
        return services.end_supervision(actor=self.actor, supervision=row, ends_on=ends_on, now=self.now)


class SuccessionList(ListDoor):
    """The handovers from supervisors who left to their successors."""

    resource = "successions"
    status = 201
    actions = {"GET": Action.SEE_SUPERVISION, "POST": Action.CHANGE_SUPERVISION}
    inputs = {"POST": SuccessionIn}
    outputs = {"GET": SuccessionRecord, "POST": SuccessionRecord}
    told_as = {
        "POST": "Hand over what somebody who left had to co-sign.\n\nHer last day must be set; the act is printed on "
        "each signature that rests on it.",
    }
    order = ("-at", "-id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.successions_for(self.actor)

    def post(self, request: Request) -> Response:
        wanted = self.read(SuccessionIn)

        def do() -> Response:
            row = services.hand_over(actor=self.actor, now=self.now, **wanted)
            return self.show(SuccessionRecord(row).data, status=201)

        return self.write(do)
