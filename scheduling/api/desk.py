"""Doors to what people wait for: the day, the caseload. Rows go to JSON as they are read."""

from typing import Any, ClassVar

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from clinic.api.examples import example
from clinic.api.fields import Day as DayField
from clinic.api.fields import Instant, StrictInput
from clinic.api.pagination import Page, page_from
from clinic.api.views import ApiView, ListDoor
from clinic.rules.access import Action
from scheduling.selectors import desk


class DayFilters(StrictInput):
    """Which day: today in the organization's zone, if it is not said."""

    date = DayField(required=False)


class DayPrecaution(serializers.Serializer):
    """What must not be done with this child, or only with care."""

    id = serializers.UUIDField()
    kind = serializers.CharField()
    text = serializers.CharField()
    refused = serializers.ListField(child=serializers.CharField())
    warned = serializers.ListField(child=serializers.CharField())
    set_by = serializers.CharField()
    may_be_lifted_by = serializers.CharField()
    starts_on = serializers.DateField()


class DayGoal(serializers.Serializer):
    """An active goal: what is counted, and its last numbers."""

    id = serializers.UUIDField()
    number = serializers.IntegerField()
    text = serializers.CharField()
    measure = serializers.CharField()
    unit = serializers.CharField()
    visit_value = serializers.CharField()
    strata = serializers.CharField()
    strata_names = serializers.ListField(child=serializers.CharField(), help_text="Exemplars, sides or steps")
    levels = serializers.ListField(child=serializers.CharField(), help_text="Of a scale, lowest first; of a rating")
    components = serializers.ListField(child=serializers.DictField(), help_text="What is counted besides")
    due_on = serializers.DateField(allow_null=True)
    last_on = serializers.DateField(allow_null=True)
    last_value = serializers.CharField(allow_null=True)
    level = serializers.CharField(allow_null=True)
    percent = serializers.CharField(allow_null=True)
    criterion = serializers.CharField(allow_null=True)
    satisfied = serializers.IntegerField(allow_null=True)
    preliminary = serializers.BooleanField(allow_null=True)


class DayDue(serializers.Serializer):
    """Something to look at."""

    id = serializers.UUIDField()
    kind = serializers.CharField()
    goal = serializers.UUIDField()
    opened_at = Instant()


class DayChild(serializers.Serializer):
    """A child in a visit of the day."""

    participation = serializers.UUIDField()
    version = serializers.IntegerField()
    status = serializers.CharField()
    starts_at = Instant()
    ends_at = Instant()
    arrived_at = Instant(allow_null=True)
    minutes = serializers.IntegerField(allow_null=True)
    episode = serializers.UUIDField()
    client = serializers.UUIDField()
    given_name = serializers.CharField()
    family_name = serializers.CharField()
    preferred_name = serializers.CharField()
    birth_date = serializers.DateField()
    note = serializers.UUIDField(allow_null=True)
    note_state = serializers.CharField(allow_null=True)
    planned_goals = serializers.ListField(child=serializers.UUIDField(), help_text="What is to be worked on")
    precautions = DayPrecaution(many=True)
    goals = DayGoal(many=True)
    due = DayDue(many=True)


class DayVisit(serializers.Serializer):
    """A visit of the day."""

    id = serializers.UUIDField()
    kind = serializers.CharField()
    mode = serializers.CharField()
    place = serializers.CharField()
    status = serializers.CharField()
    starts_at = Instant()
    ends_at = Instant()
    site = serializers.CharField()
    time_zone = serializers.CharField()
    children = DayChild(many=True)


class UnsignedNote(serializers.Serializer):
    """A visit that took place and whose note is missing, a draft, or returned."""

    participation = serializers.UUIDField()
    client = serializers.UUIDField()
    episode = serializers.UUIDField()
    service_date = serializers.DateField()
    note = serializers.UUIDField(allow_null=True)
    state = serializers.CharField()


@example({"date": "2026-03-31", "visits": [], "unsigned": []})
class DayRecord(serializers.Serializer):
    """One person's day."""

    date = serializers.DateField()
    visits = DayVisit(many=True)
    unsigned = UnsignedNote(many=True)


class Day(ApiView):
    """Your day in one call: visits, each child's precautions, active goals with last numbers, what is due."""

    resource = "day"
    actions = {"GET": Action.SEE_GOALS}
    shows_besides = (Action.SEE_CLIENTS, Action.SEE_NOTES, Action.SEE_PRECAUTIONS, Action.SEE_VISITS)
    outputs = {"GET": DayRecord}
    filters = DayFilters

    def get(self, request: Request) -> Response:
        day = self.asked().get("date", self.actor.today)
        found = desk.day_of(self.actor, day)
        visits: dict[Any, dict[str, Any]] = {}
        for part in found["parts"]:
            self.touch(part["client"], part["episode"])
            visits.setdefault(part["visit"], _visit(part))["children"].append(_child(part, found))
        for row in found["unsigned"]:
            self.touch(row["client"], row["episode"])
        return self.show({"date": day, "visits": list(visits.values()), "unsigned": found["unsigned"]})


def _visit(part: dict[str, Any]) -> dict[str, Any]:
    return {
        "id": part["visit"],
        "kind": part["kind"],
        "mode": part["mode"],
        "place": part["place"],
        "status": part["visit_status"],
        "starts_at": part["visit_starts_at"],
        "ends_at": part["visit_ends_at"],
        "site": part["site"],
        "time_zone": part["time_zone"],
        "children": [],
    }


OF_THE_VISIT = {
    "visit",
    "kind",
    "mode",
    "place",
    "visit_status",
    "visit_starts_at",
    "visit_ends_at",
    "site",
    "time_zone",
}


def _child(part: dict[str, Any], found: dict[str, Any]) -> dict[str, Any]:
    return {
        **{name: value for name, value in part.items() if name not in OF_THE_VISIT},
        "precautions": found["precautions"].get(part["client"], []),
        "goals": found["goals"].get(part["episode"], []),
        "due": found["due"].get(part["episode"], []),
    }


@example(
    {
        "episode": "0198a1f0-0000-7000-8000-0000000000f1",
        "client": "0198a1f0-0000-7000-8000-0000000000c1",
        "given_name": "Mirela",
        "family_name": "Oduya",
        "birth_date": "2021-05-17",
        "setting": "outpatient",
        "status": "active",
        "site": "0198a1f0-0000-7000-8000-000000000001",
        "goals_active": 3,
        "goals_met": 1,
        "goals_met_preliminary": 1,
        "visits_held_this_week": 1,
        "visits_missed_this_week": 0,
        "next_visit_at": "2026-04-02T20:00:00Z",
        "last_visit_on": "2026-03-31",
        "notes_unsigned": 0,
        "cosignatures_waiting": 1,
    }
)
class CaseloadRow(serializers.Serializer):
    """One open episode with its counts."""

    episode = serializers.UUIDField()
    client = serializers.UUIDField()
    given_name = serializers.CharField()
    family_name = serializers.CharField()
    birth_date = serializers.DateField()
    setting = serializers.CharField()
    status = serializers.CharField()
    site = serializers.UUIDField()
    goals_active = serializers.IntegerField()
    goals_met = serializers.IntegerField()
    goals_met_preliminary = serializers.IntegerField()
    visits_held_this_week = serializers.IntegerField()
    visits_missed_this_week = serializers.IntegerField()
    next_visit_at = Instant(allow_null=True)
    last_visit_on = serializers.DateField(allow_null=True)
    notes_unsigned = serializers.IntegerField()
    cosignatures_waiting = serializers.IntegerField()


class HotList(ListDoor):
    """A list whose rows come from hand-written SQL and go to JSON as they are."""

    key: ClassVar[tuple[str, ...]] = ()

    def fetch(self, key: list[Any] | None, backwards: bool, limit: int) -> list[Any]:
        raise NotImplementedError

    def page(self, asked: dict[str, Any]) -> Page:
        return page_from(self.request, self.fetch, order=self.key, bound_to=str(self.actor.staff_id))

    def touch_rows(self, rows: Any) -> None:
        for row in rows:
            self.touch(row["client"], row["episode"])

    def shown(self, rows: list[Any]) -> list[Any]:
        return rows


class Caseload(HotList):
    """Your caseload: one row for each open episode in reach, by name, with counts."""

    resource = "caseload"
    actions = {"GET": Action.SEE_CASELOAD}
    outputs = {"GET": CaseloadRow}
    key = desk.KEY

    def fetch(self, key: list[Any] | None, backwards: bool, limit: int) -> list[Any]:
        return desk.caseload_page(self.actor, now=self.now, key=key, backwards=backwards, limit=limit)
