"""Doors to licences and contracted hours."""

from typing import Any
from uuid import UUID

from rest_framework import serializers

from clinic.api.examples import example
from clinic.api.fields import Day, Id, StrictInput, Text, Whole, jurisdiction, word
from clinic.api.periods import PeriodEndIn, PeriodIn, PeriodRecord
from clinic.api.views import ChangeDoor, ListDoor
from clinic.enums import CredentialKind
from clinic.models import ContractedHours, Credential
from clinic.rules.access import Action
from clinic.selectors import staff as selectors
from clinic.selectors.rows import one
from clinic.services import employment as services

LICENCE = {
    "staff": "0198a1f0-0000-7000-8000-0000000000a1",
    "kind": "licence",
    "abbreviation": "OTA",
    "jurisdiction": "US-IL",
    "number": "057-004411",
    "starts_on": "2024-08-01",
    "expires_on": "2026-12-31",
}
AGREED = {
    "staff": "0198a1f0-0000-7000-8000-0000000000a1",
    "minutes_a_week": 1920,
    "starts_on": "2024-09-02",
    "ends_on": None,
}


@example(LICENCE)
class CredentialIn(StrictInput):
    """A licence: what, where, until when."""

    staff = Id()
    kind = word(CredentialKind)
    abbreviation = Text(max_length=20)
    jurisdiction = jurisdiction()
    number = Text(max_length=60)
    starts_on = Day()
    expires_on = Day(required=False, allow_null=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs.get("expires_on") is not None and attrs["expires_on"] < attrs["starts_on"]:
            detail = serializers.ErrorDetail("The last day lies before the first", code="before_start")
            raise serializers.ValidationError({"expires_on": [detail]})
        return attrs


@example({"expires_on": "2028-12-31"})
class CredentialChangeIn(StrictInput):
    """The last day on which the licence holds."""

    expires_on = Day(allow_null=True)


@example({"id": "0198a1f0-0000-7000-8000-0000000000b3", "version": 1, **LICENCE})
class CredentialRecord(serializers.Serializer):
    """A licence as it is recorded."""

    id = serializers.UUIDField()
    version = serializers.IntegerField()
    staff = serializers.UUIDField(source="staff_id")
    kind = word(CredentialKind)
    abbreviation = serializers.CharField()
    jurisdiction = serializers.CharField()
    number = serializers.CharField()
    starts_on = serializers.DateField()
    expires_on = serializers.DateField(allow_null=True)


@example(AGREED)
class ContractedHoursIn(PeriodIn):
    """Minutes a week that somebody is contracted for."""

    staff = Id()
    minutes_a_week = Whole(min_value=0, max_value=7 * 24 * 60)


@example({"id": "0198a1f0-0000-7000-8000-0000000000b4", "version": 1, **AGREED})
class ContractedHoursRecord(PeriodRecord):
    """Contracted hours, from a day to a day."""

    staff = serializers.UUIDField(source="staff_id")
    minutes_a_week = serializers.IntegerField()


@example({"staff": "0198a1f0-0000-7000-8000-0000000000a1"})
class OfStaffFilter(StrictInput):
    staff = Id(required=False)


class CredentialList(ListDoor):
    """The licences of the staff."""

    resource = "credentials"
    actions = {"GET": Action.SEE_STAFF}
    outputs = {"GET": CredentialRecord}
    filters = OfStaffFilter
    order = ("-starts_on", "-id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.credentials_for(self.actor, **asked)


class CredentialDetail(ChangeDoor):
    """One licence."""

    resource = "credentials"
    actions = {"GET": Action.SEE_STAFF, "PUT": Action.CHANGE_STAFF, "PATCH": Action.CHANGE_STAFF}
    inputs = {"PUT": CredentialIn, "PATCH": CredentialChangeIn}
    outputs = {"GET": CredentialRecord, "PUT": CredentialRecord, "PATCH": CredentialRecord}
    told_as = {
        "GET": "One licence",
        "PUT": "Record a licence",
        "PATCH": "Change the day on which a licence expires",
    }
    form = CredentialIn
    change_form = CredentialChangeIn

    def find(self, row_id: UUID) -> Credential:
        return one(selectors.credentials_for(self.actor), row_id)

    def find_for_change(self, row_id: UUID) -> Credential:
        return one(selectors.credentials_for(self.actor, Action.CHANGE_STAFF), row_id, lock=True)

    def exists(self, row_id: UUID) -> bool:
        return selectors.credential_exists(row_id)

    def create(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> Credential:
        return services.record_credential(actor=self.actor, row_id=row_id, digest=digest, **wanted)

    def change(self, row: Credential, wanted: dict[str, Any]) -> Credential:
        expires_on = wanted.get("expires_on", row.expires_on)
        return services.change_expiry(actor=self.actor, credential=row, expires_on=expires_on)


class ContractedHoursList(ListDoor):
    """The contracted hours of the staff."""

    resource = "contracted_hours"
    actions = {"GET": Action.SEE_STAFF}
    outputs = {"GET": ContractedHoursRecord}
    filters = OfStaffFilter
    order = ("-starts_on", "-id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.hours_for(self.actor, **asked)


class ContractedHoursDetail(ChangeDoor):
    """Contracted hours of one person, from a day to a day."""

    resource = "contracted_hours"
    actions = {"GET": Action.SEE_STAFF, "PUT": Action.CHANGE_STAFF, "PATCH": Action.CHANGE_STAFF}
    inputs = {"PUT": ContractedHoursIn, "PATCH": PeriodEndIn}
    outputs = {"GET": ContractedHoursRecord, "PUT": ContractedHoursRecord, "PATCH": ContractedHoursRecord}
    told_as = {
        "GET": "Contracted hours of one person",
        "PUT": "Record contracted hours from a day on",
        "PATCH": "Set the last day on which contracted hours hold",
    }
    form = ContractedHoursIn
    change_form = PeriodEndIn

    def find(self, row_id: UUID) -> ContractedHours:
        return one(selectors.hours_for(self.actor), row_id)

    def find_for_change(self, row_id: UUID) -> ContractedHours:
        return one(selectors.hours_for(self.actor, Action.CHANGE_STAFF), row_id, lock=True)

    def exists(self, row_id: UUID) -> bool:
        return selectors.hours_exist(row_id)

    def create(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> ContractedHours:
        return services.agree_hours(actor=self.actor, row_id=row_id, digest=digest, **wanted)

    def change(self, row: ContractedHours, wanted: dict[str, Any]) -> ContractedHours:
        return services.end_hours(actor=self.actor, hours=row, ends_on=wanted.get("ends_on", row.ends_on))
