"""Doors to the children's own records."""

from typing import Any
from uuid import UUID

from rest_framework import serializers

from clinic.api.examples import example
from clinic.api.fields import Day, Id, Name, StrictInput, Whole
from clinic.api.views import ChangeDoor, ListDoor
from clinic.rules.access import Action
from clinic.selectors import clients as selectors
from clinic.services import clients as services

CHILD = {
    "home_site": "0198a1f0-0000-7000-8000-000000000001",
    "given_name": "Mirela",
    "family_name": "Oduya",
    "preferred_name": "Miri",
    "birth_date": "2021-05-17",
    "gestation_weeks": 34,
    "gestation_days": 2,
}

CLINICAL = "null as well to those who do not treat the child, and left as it stands where they send null"


@example(CHILD)
class ClientIn(StrictInput):
    """A child, entered under an id that the device made."""

    home_site = Id()
    given_name = Name(max_length=100)
    family_name = Name(max_length=100)
    preferred_name = Name(max_length=100, required=False, allow_blank=True)
    birth_date = Day()
    gestation_weeks = Whole(min_value=20, max_value=45, required=False, allow_null=True)
    gestation_days = Whole(min_value=0, max_value=6, required=False, allow_null=True)

    def validate_birth_date(self, day: Any) -> Any:
        if day > self.context["view"].actor.today:
            raise serializers.ValidationError("The birth date lies in the future", code="in_the_future")
        return day

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs.get("gestation_days") is not None and attrs.get("gestation_weeks") is None:
            raise serializers.ValidationError(
                {"gestation_weeks": ["Days of gestation need its weeks"]}, code="required"
            )
        return attrs


@example({"preferred_name": "Miri"})
class ClientChangeIn(ClientIn):
    """The members to change; those left out stay as they are."""

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, partial=True, **options)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        return attrs


@example({"id": "0198a1f0-0000-7000-8000-0000000000c1", "version": 1, **CHILD})
class ClientRecord(serializers.Serializer):
    """A child as the record knows her."""

    id = serializers.UUIDField()
    version = serializers.IntegerField()
    home_site = serializers.UUIDField(source="home_site_id")
    given_name = serializers.CharField()
    family_name = serializers.CharField()
    preferred_name = serializers.CharField()
    birth_date = serializers.DateField()
    gestation_weeks = serializers.IntegerField(allow_null=True, help_text=CLINICAL)
    gestation_days = serializers.IntegerField(allow_null=True, help_text=CLINICAL)

    def to_representation(self, client: Any) -> dict[str, Any]:
        shown = super().to_representation(client)
        told = getattr(client, "birth_told", True)  # a child just entered is shown as she was sent
        return shown if told else {**shown, **dict.fromkeys(services.CLINICAL)}


class ClientList(ListDoor):
    """The children in your reach."""

    resource = "clients"
    actions = {"GET": Action.SEE_CLIENTS}
    outputs = {"GET": ClientRecord}
    order = ("family_name", "given_name", "id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.clients_for(self.actor)

    def touch_row(self, row: Any) -> None:
        self.touch(row.pk)


class ClientDetail(ChangeDoor):
    """One child."""

    resource = "clients"
    actions = {"GET": Action.SEE_CLIENTS, "PUT": Action.CHANGE_CLIENTS, "PATCH": Action.CHANGE_CLIENTS}
    inputs = {"PUT": ClientIn, "PATCH": ClientChangeIn}
    outputs = {"GET": ClientRecord, "PUT": ClientRecord, "PATCH": ClientRecord}
    told_as = {
        "GET": "One child",
        "PUT": "Enter a child, or replace what is known of her",
        "PATCH": "Change some of what is known of a child",
    }
    form = ClientIn
    change_form = ClientChangeIn

    def find(self, row_id: UUID) -> Any:
        return selectors.client_for(self.actor, row_id)

    def find_for_change(self, row_id: UUID) -> Any:
        return selectors.client_for(self.actor, row_id, Action.CHANGE_CLIENTS, lock=True)

    def exists(self, row_id: UUID) -> bool:
        return selectors.client_exists(row_id)

    def create(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> Any:
        return services.register_client(actor=self.actor, client_id=row_id, digest=digest, **wanted)

    def change(self, row: Any, wanted: dict[str, Any]) -> Any:
        return services.change_client(actor=self.actor, client=row, **wanted)

    def touch_row(self, row: Any) -> None:
        self.touch(row.pk)
