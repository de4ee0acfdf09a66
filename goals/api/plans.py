"""Doors to the periods of a plan of care, and to their certification."""

from typing import Any
from uuid import UUID

from rest_framework import serializers

from clinic.api.examples import example
from clinic.api.fields import Day, Id, Name, StrictInput, Text, Whole
from clinic.api.views import ChangeDoor, ListDoor
from clinic.rules.access import Action
from clinic.rules.identifiers import is_npi
from goals.models import Certification, PlanPeriod
from goals.selectors import plans as selectors
from goals.services import plans as services

SPANS = ("week", "month", "term")
FREQUENCY = {"times": 2, "minutes": 45, "per": "week", "weeks": 6}
PERIOD = {
    "episode": "0198a1f0-0000-7000-8000-0000000000e1",
    "starts_on": "2026-03-02",
    "ends_on": "2026-05-29",
    "frequency": [FREQUENCY, {"times": 1, "minutes": 45, "per": "week", "weeks": None}],
}
CERTIFICATION = {
    "plan_period": "0198a1f0-0000-7000-8000-0000000000a1",
    "physician_name": "Dr. Ansa Kivelä",
    "physician_npi": "1234567893",
    "sent_on": "2026-03-02",
}


@example(FREQUENCY)
class FrequencyIn(StrictInput):
    """So many times of so many minutes; for so many weeks before the next row holds, or until the end."""

    times = Whole(min_value=1, max_value=50)
    minutes = Whole(min_value=1, max_value=600)
    per = serializers.ChoiceField(choices=SPANS)
    weeks = Whole(min_value=1, max_value=60, required=False, allow_null=True, default=None)


@example(PERIOD)
class PlanPeriodIn(StrictInput):
    """The days that one certification covers, with the frequency that the plan asks for."""

    episode = Id()
    starts_on = Day()
    ends_on = Day()
    frequency = serializers.ListField(child=FrequencyIn(), min_length=1, max_length=10)


@example({"ends_on": "2026-05-15"})
class PlanPeriodChangeIn(StrictInput):
    """An earlier last day."""

    ends_on = Day(required=False)


class Frequency(serializers.Serializer):
    """So many times of so many minutes."""

    times = serializers.IntegerField()
    minutes = serializers.IntegerField()
    per = serializers.ChoiceField(choices=SPANS)
    weeks = serializers.IntegerField(allow_null=True)


class PlanPeriodRecord(serializers.Serializer):
    """A period of a plan of care."""

    id = serializers.UUIDField()
    version = serializers.IntegerField()
    episode = serializers.UUIDField(source="episode_id")
    starts_on = serializers.DateField()
    ends_on = serializers.DateField()
    frequency = Frequency(many=True)
    written_by = serializers.UUIDField(source="written_by_id")


class PlanPeriodFilters(StrictInput):
    """Which periods."""

    episode = Id(required=False)


class PlanPeriodList(ListDoor):
    """The plan periods in your reach, newest first."""

    resource = "plan_periods"
    actions = {"GET": Action.SEE_PLANS}
    outputs = {"GET": PlanPeriodRecord}
    filters = PlanPeriodFilters
    order = ("-starts_on", "-id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.plan_periods_for(self.actor).filter(**asked)

    def touch_row(self, row: PlanPeriod) -> None:
        self.touch(row.episode.client_id, row.episode_id)


class PlanPeriodDetail(ChangeDoor):
    """One plan period."""

    resource = "plan_periods"
    actions = {"GET": Action.SEE_PLANS, "PUT": Action.WRITE_PLANS, "PATCH": Action.WRITE_PLANS}
    inputs = {"PUT": PlanPeriodIn, "PATCH": PlanPeriodChangeIn}
    outputs = {"GET": PlanPeriodRecord, "PUT": PlanPeriodRecord, "PATCH": PlanPeriodRecord}
    told_as = {
        "GET": "One plan period",
        "PUT": "Write a plan period",
        "PATCH": "End a plan period earlier, so that an amended one can follow",
    }
    form = PlanPeriodIn
    change_form = PlanPeriodChangeIn

    def find(self, row_id: UUID) -> PlanPeriod:
        return selectors.plan_period_for(self.actor, row_id)

    def find_for_change(self, row_id: UUID) -> PlanPeriod:
        return selectors.plan_period_for(self.actor, row_id, Action.WRITE_PLANS, lock=True)

    def exists(self, row_id: UUID) -> bool:
        return selectors.plan_period_exists(row_id)

    def create(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> PlanPeriod:
        return services.plan_period(actor=self.actor, period_id=row_id, digest=digest, now=self.now, **wanted)

    def change(self, row: PlanPeriod, wanted: dict[str, Any]) -> PlanPeriod:
        return services.shorten_plan_period(period=row, ends_on=wanted.get("ends_on", row.ends_on), now=self.now)

    def touch_row(self, row: PlanPeriod) -> None:
        self.touch(row.episode.client_id, row.episode_id)


class Npi(Text):
    """A National Provider Identifier, whose last digit is the check digit of the rest."""

    def __init__(self, **options: Any) -> None:
        super().__init__(max_length=10, **options)

    def to_internal_value(self, data: Any) -> str:
        number = super().to_internal_value(data)
        if number and not is_npi(number):
            raise serializers.ValidationError("This is no NPI: its check digit is wrong", code="invalid_npi")
        return number


@example(CERTIFICATION)
class CertificationIn(StrictInput):
    """A plan sent to a physician, and what came back."""

    plan_period = Id()
    physician_name = Name(max_length=200)
    physician_npi = Npi(required=False, allow_blank=True)
    sent_on = Day(required=False, allow_null=True)
    verbal_order_on = Day(required=False, allow_null=True)
    received_on = Day(required=False, allow_null=True)
    signed_on = Day(required=False, allow_null=True)


@example({"received_on": "2026-03-09", "signed_on": "2026-03-06"})
class CertificationChangeIn(StrictInput):
    """What came back; members left out stay as they are."""

    physician_name = Name(max_length=200, required=False)
    physician_npi = Npi(required=False, allow_blank=True)
    sent_on = Day(required=False, allow_null=True)
    verbal_order_on = Day(required=False, allow_null=True)
    received_on = Day(required=False, allow_null=True)
    signed_on = Day(required=False, allow_null=True)


class CertificationRecord(serializers.Serializer):
    """An outside physician's signature on a plan."""

    id = serializers.UUIDField()
    version = serializers.IntegerField()
    plan_period = serializers.UUIDField(source="plan_period_id")
    physician_name = serializers.CharField()
    physician_npi = serializers.CharField()
    sent_on = serializers.DateField(allow_null=True)
    verbal_order_on = serializers.DateField(allow_null=True)
    received_on = serializers.DateField(allow_null=True)
    signed_on = serializers.DateField(allow_null=True)


class CertificationFilters(StrictInput):
    """Which certifications."""

    plan_period = Id(required=False)


class CertificationList(ListDoor):
    """The certifications in your reach, newest first."""

    resource = "certifications"
    actions = {"GET": Action.SEE_PLANS}
    outputs = {"GET": CertificationRecord}
    filters = CertificationFilters

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.certifications_for(self.actor).filter(**asked)

    def touch_row(self, row: Certification) -> None:
        self.touch(row.plan_period.episode.client_id, row.plan_period.episode_id)


class CertificationDetail(ChangeDoor):
    """One certification."""

    resource = "certifications"
    actions = {"GET": Action.SEE_PLANS, "PUT": Action.WRITE_PLANS, "PATCH": Action.WRITE_PLANS}
    inputs = {"PUT": CertificationIn, "PATCH": CertificationChangeIn}
    outputs = {"GET": CertificationRecord, "PUT": CertificationRecord, "PATCH": CertificationRecord}
    told_as = {
        "GET": "One certification",
        "PUT": "Record that a plan went to a physician",
        "PATCH": "Note what came back from the physician",
    }
    form = CertificationIn
    change_form = CertificationChangeIn

    def find(self, row_id: UUID) -> Certification:
        return selectors.certification_for(self.actor, row_id)

    def find_for_change(self, row_id: UUID) -> Certification:
        return selectors.certification_for(self.actor, row_id, Action.WRITE_PLANS, lock=True)

    def exists(self, row_id: UUID) -> bool:
        return selectors.certification_exists(row_id)

    def create(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> Certification:
        return services.add_certification(
            actor=self.actor, certification_id=row_id, digest=digest, now=self.now, **wanted
        )

    def change(self, row: Certification, wanted: dict[str, Any]) -> Certification:
        return services.change_certification(actor=self.actor, certification=row, now=self.now, **wanted)

    def touch_row(self, row: Certification) -> None:
        self.touch(row.plan_period.episode.client_id, row.plan_period.episode_id)
