"""Doors to visits and to each child's part in them."""

import json
from typing import Any, ClassVar
from uuid import UUID

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from clinic.api.examples import example
from clinic.api.fields import Day, Id, Instant, StrictInput, Text, Whole, word
from clinic.api.look_alikes import LookAlikeRecord
from clinic.api.views import ApiView, ListDoor, PutDoor
from clinic.errors import NotFound
from clinic.rules.access import Action, may
from clinic.selectors.clients import client_for
from clinic.selectors.look_alikes import look_alikes_of
from scheduling.enums import CancelCause, VisitKind, VisitMode, VisitStatus
from scheduling.rules.visits import Step
from scheduling.selectors import visits as selectors
from scheduling.services import steps
from scheduling.services import visits as services

EPISODE = "0198a1f0-0000-7000-8000-0000000000f1"
VISIT = {
    "site": "0198a1f0-0000-7000-8000-000000000001",
    "kind": "treatment",
    "mode": "in_person",
    "place": "",
    "starts_at": "2026-03-31T15:00:00-05:00",
    "ends_at": "2026-03-31T15:45:00-05:00",
    "staff": ["0198a1f0-0000-7000-8000-0000000000a1"],
    "rooms": [],
    "children": [{"episode": EPISODE}],
}


def goal_ids(**options: Any) -> serializers.ListField:
    """Goals of the child in this episode."""
    return serializers.ListField(child=Id(), max_length=50, **options)


class ChildIn(StrictInput):
    """A child's part in the visit; her own times where they differ from the visit's, and what is planned."""

    id = Id(required=False)
    episode = Id()
    starts_at = Instant(required=False)
    ends_at = Instant(required=False)
    goals = goal_ids(required=False, help_text="What is to be worked on; left out, what was planned stays")


@example(VISIT)
class VisitIn(StrictInput):
    """A visit to book, or one that took place."""

    site = Id()
    kind = word(VisitKind)
    mode = word(VisitMode, required=False)
    place = Text(max_length=200, required=False, allow_blank=True)
    starts_at = Instant()
    ends_at = Instant()
    staff = serializers.ListField(child=Id(), min_length=1, max_length=4)
    rooms = serializers.ListField(child=Id(), required=False, max_length=4)
    children = ChildIn(many=True, allow_empty=False, max_length=20)  # type: ignore[call-arg]


class ParticipationRecord(serializers.Serializer):
    """One child's part in a visit."""

    id = serializers.UUIDField()
    version = serializers.IntegerField()
    visit = serializers.UUIDField(source="visit_id")
    client = serializers.UUIDField(source="client_id")
    episode = serializers.UUIDField(source="episode_id")
    service_date = serializers.DateField()
    status = serializers.ChoiceField(choices=[status.value for status in VisitStatus])
    starts_at = Instant()
    ends_at = Instant()
    arrived_at = Instant(allow_null=True)
    left_at = Instant(allow_null=True)
    minutes = serializers.IntegerField(allow_null=True)
    ended_early = serializers.CharField()
    cancelled_at = Instant(allow_null=True)
    cancel_cause = serializers.ChoiceField(choices=[cause.value for cause in CancelCause], allow_null=True)
    cancel_reason = serializers.CharField()
    hours_of_notice = serializers.DecimalField(max_digits=8, decimal_places=2, allow_null=True)
    device_offset_seconds = serializers.IntegerField(
        allow_null=True, help_text="By how much the clock was ahead of the device that told these times, if far off"
    )
    notes = serializers.SerializerMethodField()
    planned_goals = serializers.SerializerMethodField()

    def get_planned_goals(self, row: Any) -> list[UUID]:
        """None to those who see no goals, like the front desk and administrators."""
        if not may(self.context["view"].actor, Action.SEE_GOALS):
            return []
        return [planned.goal_id for planned in row.planned.all()]

    def get_notes(self, row: Any) -> list[UUID]:
        """None to those who could not open one, like the front desk."""
        if not may(self.context["view"].actor, Action.SEE_NOTES):
            return []
        return [link.document_id for link in row.notes.all()]


class VisitCorrectionRecord(serializers.Serializer):
    """When the visit was said to have been before, who put it right, when and why."""

    was_starts_at = Instant()
    was_ends_at = Instant()
    at = Instant()
    by = serializers.UUIDField(source="by_id")
    reason = serializers.CharField()


class VisitRecord(serializers.Serializer):
    """A visit with the parts of the children in your reach, and who is booked."""

    id = serializers.UUIDField()
    version = serializers.IntegerField()
    site = serializers.UUIDField(source="site_id")
    time_zone = serializers.CharField(source="site.time_zone")
    kind = serializers.ChoiceField(choices=[kind.value for kind in VisitKind])
    mode = serializers.ChoiceField(choices=[mode.value for mode in VisitMode])
    place = serializers.CharField()
    status = serializers.ChoiceField(choices=[status.value for status in VisitStatus])
    starts_at = Instant()
    ends_at = Instant()
    service_date = serializers.DateField()
    staff = serializers.SerializerMethodField()
    rooms = serializers.SerializerMethodField()
    overlaps = serializers.SerializerMethodField(
        help_text="Who, of those shown here, or which room, was held elsewhere at that time; it took place all the same"
    )
    corrections = VisitCorrectionRecord(many=True)
    children = ParticipationRecord(source="participations", many=True)

    def get_overlaps(self, visit: Any) -> list[UUID]:
        shown = {part.client_id for part in visit.participations.all()}
        overlapped = [row for row in visit.bookings.all() if row.overlapped]
        held = [row.staff_id or row.room_id or row.client_id for row in overlapped if row.client_id in {None, *shown}]
        return list(dict.fromkeys(held))

    def get_staff(self, visit: Any) -> list[UUID]:
        return list(dict.fromkeys(row.staff_id for row in visit.bookings.all() if row.staff_id))

    def get_rooms(self, visit: Any) -> list[UUID]:
        return list(dict.fromkeys(row.room_id for row in visit.bookings.all() if row.room_id))


class VisitFilters(StrictInput):
    """Which visits."""

    service_date = Day(required=False)
    service_date_from = Day(required=False)
    service_date_until = Day(required=False)
    site = Id(required=False)
    status = word(VisitStatus, required=False)
    client = Id(required=False)
    staff = Id(required=False)


class VisitList(ListDoor):
    """Visits in your reach, latest start first."""

    resource = "visits"
    actions = {"GET": Action.SEE_VISITS}
    outputs = {"GET": VisitRecord}
    filters = VisitFilters
    order = ("-starts_at", "-id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.visits_matching(self.actor, **asked)

    def touch_rows(self, rows: Any) -> None:
        for visit in rows:
            for row in visit.participations.all():
                self.touch(row.client_id, row.episode_id)


class VisitDoor(PutDoor):
    """GET and PUT of a visit."""

    resource = "visits"
    actions = {"GET": Action.SEE_VISITS, "PUT": Action.BOOK_VISITS}
    queued = ("PUT",)
    inputs = {"PUT": VisitIn}
    outputs = {"GET": VisitRecord, "PUT": VisitRecord}
    told_as = {
        "GET": "One visit",
        "PUT": """Book a visit, enter one that took place, or move one

        Refused ahead: an overlap of a staff member, a child or a room's places (409, `collides_with`), an assistant
        without supervision in force on that day, an evaluation by an assistant, a group of more than eight. What
        took place is recorded all the same, with what overlaps named in `overlaps`. What was held beyond a child's
        leaving is free again.

        A booked visit is moved by putting it again with If-Match, all members as they shall be. Of one that has
        begun only `staff` is put right, every other member being the same: who stepped in can then document it; its
        times are put right at `/visits/{id}/correct/`.""",
    }
    form = VisitIn

    def find(self, row_id: UUID) -> Any:
        return selectors.visit_for(self.actor, row_id)

    def find_for_change(self, row_id: UUID) -> Any:
        return selectors.visit_to_change(self.actor, row_id, Action.BOOK_VISITS)

    def exists(self, row_id: UUID) -> bool:
        return selectors.visit_exists(row_id)

    def create(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> Any:
        return services.book_visit(actor=self.actor, visit_id=row_id, asked=wanted, digest=digest, now=self.now)

    def replace(self, row: Any, wanted: dict[str, Any]) -> Any:
        return services.move_visit(actor=self.actor, visit=row, asked=wanted, now=self.now)

    def represent(self, row: Any) -> Any:
        shown = selectors.visit_for(self.actor, row.pk) if self.request.method != "GET" else row
        return VisitRecord(shown, context={"view": self}).data

    def touch_row(self, row: Any) -> None:
        for part in row.participations.all():
            self.touch(part.client_id, part.episode_id)

    def ask_reach_again(self, kept: Response) -> None:
        ask_about_children(self, kept)


def ask_about_children(door: ApiView, kept: Response) -> None:
    """Every child whom the kept answer names; somebody who is only booked reaches the visit without them."""
    visit = selectors.visit_for(door.actor, door.kwargs["id"])
    reached = {str(part.pk): part for part in visit.participations.all()}
    for shown in json.loads(kept.data)["children"]:
        if shown["id"] not in reached:
            raise NotFound
        door.touch(reached[shown["id"]].client_id, reached[shown["id"]].episode_id)


class ParticipationList(ListDoor):
    """Children's parts in visits in your reach, latest service date first."""

    resource = "participations"
    actions = {"GET": Action.SEE_VISITS}
    outputs = {"GET": ParticipationRecord}
    filters = VisitFilters
    order = ("-service_date", "-id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.participations_matching(self.actor, **asked)


class ParticipationDetail(ApiView):
    """One child's part in a visit."""

    resource = "participations"
    actions = {"GET": Action.SEE_VISITS}
    outputs = {"GET": ParticipationRecord}

    def get(self, request: Request, id: UUID) -> Response:
        row = selectors.participation_for(self.actor, id)
        self.touch(row.client_id, row.episode_id)
        return self.show_unless_known(row.version, lambda: ParticipationRecord(row, context={"view": self}).data)


class StepDoor(ApiView):
    """One step of a child's part in a visit; needs If-Match."""

    resource = "participations"
    actions = {"POST": Action.CONDUCT_VISITS}
    outputs = {"POST": ParticipationRecord}
    form: ClassVar[type[serializers.Serializer]]
    changes_version = True
    observes: ClassVar[tuple[str, ...]] = ("POST",)
    queued: ClassVar[tuple[str, ...]] = ("POST",)

    def post(self, request: Request, id: UUID) -> Response:
        wanted = self.read(self.form)
        return self.write(lambda: self._step(id, wanted))

    def _step(self, row_id: UUID, wanted: dict[str, Any]) -> Response:
        row = selectors.participation_to_change(self.actor, row_id, self.actions["POST"])
        self.require_match(row.version)
        self.perform(row, wanted)
        return self.present()

    def present(self) -> Response:
        shown = selectors.participation_for(self.actor, self.kwargs["id"])
        self.touch_row(shown)
        return self.show(ParticipationRecord(shown, context={"view": self}).data, version=shown.version)

    def perform(self, row: Any, wanted: dict[str, Any]) -> None:
        raise NotImplementedError

    def ask_reach_again(self, kept: Response) -> None:
        self.touch_row(selectors.participation_for(self.actor, self.kwargs["id"]))


@example({"arrived_at": "2026-03-31T15:02:00-05:00"})
class CheckIn(StrictInput):
    """When the child came."""

    arrived_at = Instant(
        required=False, help_text="If it is not said: now, or the planned start where the planned end is past"
    )


@example({"left_at": "2026-03-31T15:47:00-05:00"})
class FinishIn(StrictInput):
    """When the child left; minutes only where they are not what elapsed."""

    left_at = Instant(
        required=False, help_text="If it is not said: now, or the planned end where that is more than an hour ago"
    )
    minutes = Whole(min_value=0, max_value=720, required=False)
    ended_early = Text(max_length=200, required=False, allow_blank=True, help_text="Why, if it ended early")


@example({"cause": "client", "reason": "Called in ill.", "at": "2026-03-31T12:00:00-05:00"})
class CallOffIn(StrictInput):
    """On whose side the reason lay, what it was, and when it became known."""

    cause = word(CancelCause)
    reason = Text(max_length=500, required=False, allow_blank=True)
    at = Instant(required=False, help_text="Now, if it is not said; notice is counted from it")


@example({"goals": ["0198a1f0-0000-7000-8000-0000000000e1"]})
class PlanIn(StrictInput):
    """All goals that are to be worked on."""

    goals = goal_ids()


@example({})
class ReinstateIn(StrictInput):
    """Nothing more to say."""


class CheckedInRecord(ParticipationRecord):
    """The child's part, and whom she could be taken for: look twice that it is she."""

    look_alikes = LookAlikeRecord(many=True)


class ParticipationCheckIn(StepDoor):
    """The child has come

    The answer names other children in your reach who could be taken for her."""

    act = "check_in"
    inputs = {"POST": CheckIn}
    outputs = {"POST": CheckedInRecord}
    form = CheckIn

    def perform(self, row: Any, wanted: dict[str, Any]) -> None:
        steps.check_in(
            actor=self.actor,
            participation=row,
            arrived_at=wanted.get("arrived_at"),
            now=self.now,
            device_offset=self.device_offset(),
        )

    def present(self) -> Response:
        shown: Any = selectors.participation_for(self.actor, self.kwargs["id"])
        shown.look_alikes = look_alikes_of(self.actor, shown.client)
        self.touch_row(shown)
        for other in shown.look_alikes:
            self.touch(other.pk)
        return self.show(CheckedInRecord(shown, context={"view": self}).data, version=shown.version)

    def ask_reach_again(self, kept: Response) -> None:
        """Whom the answer names besides is asked for as well."""
        super().ask_reach_again(kept)
        for other in json.loads(kept.data)["look_alikes"]:
            self.touch(client_for(self.actor, other["client"]).pk)


class ParticipationPlan(StepDoor):
    """Say what is to be worked on in a child's part

    What was planned and is not named is dropped. Once the visit is over what was planned stays: a planned goal that
    its note neither measures nor gives a reason for is flagged."""

    act = "plan"
    actions = {"POST": Action.PROPOSE_GOALS}
    inputs = {"POST": PlanIn}
    form = PlanIn

    def perform(self, row: Any, wanted: dict[str, Any]) -> None:
        services.plan_part(actor=self.actor, participation=row, goals=wanted["goals"], now=self.now)


class ParticipationFinish(StepDoor):
    """The child's part is over."""

    act = "finish"
    inputs = {"POST": FinishIn}
    form = FinishIn

    def perform(self, row: Any, wanted: dict[str, Any]) -> None:
        steps.finish(
            actor=self.actor,
            participation=row,
            left_at=wanted.get("left_at"),
            minutes=wanted.get("minutes"),
            ended_early=wanted.get("ended_early", ""),
            now=self.now,
            device_offset=self.device_offset(),
        )


class ParticipationCancel(StepDoor):
    """Cancel a child's part: who, why, when and how late is kept."""

    act = "cancel"
    inputs = {"POST": CallOffIn}
    form = CallOffIn
    step: ClassVar[Step] = Step.CANCEL

    def perform(self, row: Any, wanted: dict[str, Any]) -> None:
        steps.call_off(
            actor=self.actor,
            participation=row,
            step=self.step,
            cause=wanted["cause"],
            reason=wanted.get("reason", ""),
            at=wanted.get("at", self.now + self.device_offset()),
            now=self.now,
            device_offset=self.device_offset(),
        )


class ParticipationNoShow(ParticipationCancel):
    """Nobody came."""

    act = "no_show"
    step = Step.NO_SHOW


class ParticipationReinstate(StepDoor):
    """It was called off by mistake: book it again, if what it held is still free, or if its time has come already."""

    act = "reinstate"
    inputs = {"POST": ReinstateIn}
    form = ReinstateIn

    def perform(self, row: Any, wanted: dict[str, Any]) -> None:
        steps.reinstate(actor=self.actor, participation=row, now=self.now)


class VisitCancel(ApiView):
    """Cancel a whole visit: every part of it in your reach that is still booked or checked in. Needs If-Match."""

    resource = "visits"
    act = "cancel"
    actions = {"POST": Action.CONDUCT_VISITS}
    inputs = {"POST": CallOffIn}
    outputs = {"POST": VisitRecord}
    changes_version = True
    observes: ClassVar[tuple[str, ...]] = ("POST",)
    queued: ClassVar[tuple[str, ...]] = ("POST",)

    def post(self, request: Request, id: UUID) -> Response:
        wanted = self.read(CallOffIn)
        return self.write(lambda: self._cancel(id, wanted))

    def _cancel(self, visit_id: UUID, wanted: dict[str, Any]) -> Response:
        visit = selectors.visit_to_change(self.actor, visit_id, Action.CONDUCT_VISITS)
        self.require_match(visit.version)
        steps.cancel_visit(
            actor=self.actor,
            visit=visit,
            cause=wanted["cause"],
            reason=wanted.get("reason", ""),
            at=wanted.get("at", self.now + self.device_offset()),
            now=self.now,
            device_offset=self.device_offset(),
        )
        return self.present()

    def present(self) -> Response:
        shown = selectors.visit_for(self.actor, self.kwargs["id"])
        for part in shown.participations.all():
            self.touch(part.client_id, part.episode_id)
        return self.show(VisitRecord(shown, context={"view": self}).data, version=shown.version)

    def ask_reach_again(self, kept: Response) -> None:
        ask_about_children(self, kept)
