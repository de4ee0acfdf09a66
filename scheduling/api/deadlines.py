"""Doors to what is due, and to a school's reporting periods."""

from datetime import timedelta
from typing import Any
from uuid import UUID

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from clinic.api.examples import example
from clinic.api.fields import Day, Id, QueryFlag, StrictInput, Text, word
from clinic.api.views import ApiView, ChangeDoor, ListDoor
from clinic.rules.access import Action
from scheduling.deadlines.packs import rule_of
from scheduling.deadlines.states import State, state_on
from scheduling.deadlines.words import Told, because
from scheduling.enums import SubjectKind
from scheduling.models import Deadline, ReportingPeriod
from scheduling.selectors import deadlines as selectors
from scheduling.selectors.clocks import limits_of
from scheduling.services import reporting_periods as services


@example(
    {
        "id": "0198a1f0-0000-7000-8000-0000000000e1",
        "rule": "progress_report",
        "title": "Progress report",
        "episode": "0198a1f0-0000-7000-8000-0000000000e0",
        "client": "0198a1f0-0000-7000-8000-0000000000c1",
        "subject_kind": "episode",
        "subject": "0198a1f0-0000-7000-8000-0000000000e0",
        "responsible": "0198a1f0-0000-7000-8000-0000000000a2",
        "starts_on": "2026-01-05",
        "counted": 9,
        "target": 10,
        "due_on": None,
        "expected_on": "2026-01-30",
        "late_until": None,
        "state": "upcoming",
        "closed_on": None,
        "because": "Counted from the period that began on 5 Jan 2026, 9 of 10 treatment days, expected on 30 Jan 2026 "
        "if what is booked is held. Rule: CMS Pub. 100-02 ch. 15 §220.3.D.",
        "source": "CMS Pub. 100-02 ch. 15 §220.3.D",
        "caution": "An example to be verified locally: the payer's contract and the current manual come first.",
        "statutory": True,
    }
)
class DeadlineRecord(serializers.Serializer):
    """What is due to whom by when, and why. Computed from the record; the rules are examples to verify locally."""

    id = serializers.UUIDField()
    rule = serializers.CharField(source="rule.code")
    title = serializers.CharField(source="rule.title")
    episode = serializers.UUIDField(source="episode_id")
    client = serializers.UUIDField(source="client_id")
    subject_kind = word(SubjectKind)
    subject = serializers.UUIDField(source="subject_id")
    responsible = serializers.UUIDField(
        source="responsible_id", allow_null=True, help_text="Whose it is; null where nobody is assigned"
    )
    starts_on = serializers.DateField()
    counted = serializers.IntegerField()
    target = serializers.IntegerField(help_text="To how many it counts; 0 where it follows the calendar")
    due_on = serializers.DateField(allow_null=True, help_text="The last timely day; null until a count is full")
    expected_on = serializers.DateField(
        allow_null=True, help_text="When a count will be full if what is booked is held"
    )
    late_until = serializers.SerializerMethodField(help_text="Until when the rule lets it be written late")
    state = serializers.SerializerMethodField()
    closed_on = serializers.DateField(allow_null=True)
    because = serializers.SerializerMethodField()
    source = serializers.CharField(source="rule.source")  # type: ignore[assignment]
    caution = serializers.CharField(source="rule.caution")
    statutory = serializers.BooleanField(source="rule.definition.statutory", default=False)

    def get_late_until(self, row: Deadline) -> str | None:
        allowance = row.rule.definition.get("allowance_days", 0)
        return (row.due_on + timedelta(days=allowance)).isoformat() if allowance and row.due_on else None

    def get_state(self, row: Any) -> str:
        return state_on(row.outcome, row.due_on, today=row.site_today).value

    def get_because(self, row: Deadline) -> str:
        limits = limits_of(row.episode.organization)
        rule = rule_of(row.rule.definition, file=row.rule.pack, limits=limits)
        told = Told(**{name: getattr(row, name) for name in Told.__slots__})
        return because(rule.rule, told, source=row.rule.source)


@example({"state": "overdue", "mine": True})
class DeadlineFilter(StrictInput):
    """Which deadlines."""

    episode = Id(required=False)
    client = Id(required=False)
    rule = Text(max_length=60, required=False)
    state = word(State, required=False)
    due_until = Day(required=False)
    mine = QueryFlag(required=False)


class DeadlineList(ListDoor):
    """What is due, what was, and what will be, in your reach; what is due first comes first."""

    resource = "deadlines"
    actions = {"GET": Action.SEE_DEADLINES}
    outputs = {"GET": DeadlineRecord}
    filters = DeadlineFilter
    order = ("foreseen_on", "id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.deadlines_for(self.actor, now=self.now, **asked)


class DeadlineDetail(ApiView):
    """One deadline."""

    resource = "deadlines"
    actions = {"GET": Action.SEE_DEADLINES}
    outputs = {"GET": DeadlineRecord}

    def get(self, request: Request, id: UUID) -> Response:
        row = selectors.deadline_for(self.actor, id, now=self.now)
        self.touch(row.client_id, row.episode_id)
        return self.show(DeadlineRecord(row).data)


# --- A school's reporting periods -------------------------------------------------------------------

PERIOD = {
    "site": "0198a1f0-0000-7000-8000-000000000051",
    "name": "Autumn",
    "starts_on": "2026-09-01",
    "ends_on": "2026-11-13",
}


@example(PERIOD)
class ReportingPeriodIn(StrictInput):
    """The days between two report cards; the last one is the day on which they go home."""

    site = Id()
    name = Text(max_length=100)
    starts_on = Day()
    ends_on = Day()


@example({"ends_on": "2026-11-20"})
class ReportingPeriodChangeIn(StrictInput):
    """Another name, or other days."""

    name = Text(max_length=100, required=False)
    starts_on = Day(required=False)
    ends_on = Day(required=False)


class ReportingPeriodRecord(serializers.Serializer):
    """A reporting period of a school."""

    id = serializers.UUIDField()
    version = serializers.IntegerField()
    site = serializers.UUIDField(source="site_id")
    name = serializers.CharField()
    starts_on = serializers.DateField()
    ends_on = serializers.DateField()


@example({"site": PERIOD["site"]})
class ReportingPeriodFilter(StrictInput):
    site = Id(required=False)
    on = Day(required=False)


class ReportingPeriodList(ListDoor):
    """The reporting periods of the organization's schools."""

    resource = "reporting_periods"
    actions = {"GET": Action.SEE_ORGANIZATION}
    outputs = {"GET": ReportingPeriodRecord}
    filters = ReportingPeriodFilter
    order = ("starts_on", "id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.reporting_periods_for(self.actor, **asked)


class ReportingPeriodDoor(ChangeDoor):
    """One reporting period of a school."""

    resource = "reporting_periods"
    actions = {
        "GET": Action.SEE_ORGANIZATION,
        "PUT": Action.CHANGE_ORGANIZATION,
        "PATCH": Action.CHANGE_ORGANIZATION,
    }
    inputs = {"PUT": ReportingPeriodIn, "PATCH": ReportingPeriodChangeIn}
    outputs = dict.fromkeys(("GET", "PUT", "PATCH"), ReportingPeriodRecord)
    told_as = {
        "GET": "One reporting period",
        "PUT": "Add a reporting period, or change one",
        "PATCH": "Change a reporting period",
    }
    form = ReportingPeriodIn
    change_form = ReportingPeriodChangeIn

    def find(self, row_id: UUID) -> ReportingPeriod:
        return selectors.reporting_period_for(self.actor, row_id)

    def find_for_change(self, row_id: UUID) -> ReportingPeriod:
        return selectors.reporting_period_for(self.actor, row_id, lock=True)

    def exists(self, row_id: UUID) -> bool:
        return selectors.reporting_period_exists(row_id)

    def create(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> ReportingPeriod:
        return services.add(actor=self.actor, period_id=row_id, digest=digest, now=self.now, **wanted)

    def change(self, row: ReportingPeriod, wanted: dict[str, Any]) -> ReportingPeriod:
        return services.change(period=row, now=self.now, **wanted)
