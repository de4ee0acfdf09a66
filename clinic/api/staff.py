"""Doors to the people who work there, and to their roles."""

from typing import Any
from uuid import UUID

from rest_framework import serializers

from clinic.api.examples import example
from clinic.api.fields import Day, Id, Name, QueryFlag, StrictInput, word
from clinic.api.periods import PeriodEndIn, PeriodIn, PeriodRecord
from clinic.api.views import ChangeDoor, ListDoor
from clinic.enums import Role
from clinic.models import Staff, StaffRole
from clinic.rules.access import Action
from clinic.selectors import staff as selectors
from clinic.selectors.rows import one
from clinic.services import staff as services

PERSON = {"printed_name": "Ana Brightwater, OTA", "joined_on": "2024-09-02", "left_on": None}
HELD = {
    "staff": "0198a1f0-0000-7000-8000-0000000000a1",
    "role": "assistant",
    "starts_on": "2024-09-02",
    "ends_on": None,
}


@example(PERSON)
class StaffIn(StrictInput):
    """Somebody who works there; her name is printed with her signature."""

    printed_name = Name(max_length=200)
    joined_on = Day(required=False, allow_null=True)
    left_on = Day(required=False, allow_null=True)


@example({"left_on": "2026-03-31"})
class StaffChangeIn(StaffIn):
    """The members to change; those left out stay as they are. `left_on` is her last day at work."""

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, partial=True, **options)


@example({"id": "0198a1f0-0000-7000-8000-0000000000a1", "version": 1, **PERSON})
class StaffRecord(serializers.Serializer):
    """A person at work in the organization."""

    id = serializers.UUIDField()
    version = serializers.IntegerField()
    printed_name = serializers.CharField()
    joined_on = serializers.DateField(allow_null=True)
    left_on = serializers.DateField(allow_null=True)


@example({"role": "assistant", "working": "true"})
class StaffFilter(StrictInput):
    role = word(Role, required=False, help_text="Those who hold this role today")
    working = QueryFlag(required=False, help_text="Those who work there today, or those who do not")


@example(HELD)
class StaffRoleIn(PeriodIn):
    """One role of one person, from a day to a day."""

    staff = Id()
    role = word(Role)


@example({"id": "0198a1f0-0000-7000-8000-0000000000b2", "version": 1, **HELD})
class StaffRoleRecord(PeriodRecord):
    """A role that somebody holds."""

    staff = serializers.UUIDField(source="staff_id")
    role = word(Role)


class StaffList(ListDoor):
    """The people of the organization, by name."""

    resource = "staff"
    actions = {"GET": Action.SEE_STAFF}
    outputs = {"GET": StaffRecord}
    filters = StaffFilter
    order = ("printed_name", "id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.staff_for(self.actor, **asked)


class StaffDetail(ChangeDoor):
    """One person at work."""

    resource = "staff"
    actions = {"GET": Action.SEE_STAFF, "PUT": Action.CHANGE_STAFF, "PATCH": Action.CHANGE_STAFF}
    inputs = {"PUT": StaffIn, "PATCH": StaffChangeIn}
    outputs = {"GET": StaffRecord, "PUT": StaffRecord, "PATCH": StaffRecord}
    told_as = {
        "GET": "One person at work",
        "PUT": "Enter somebody who works there, or replace what is known of her",
        "PATCH": "Change somebody's name or days.\n\nA last day ends her roles, hours, supervision and places on care "
        "teams that go beyond it, in the same act, and takes back those that were yet to begin. Her unsigned and "
        "unread documents stay to be dealt with.",
    }
    form = StaffIn
    change_form = StaffChangeIn

    def find(self, row_id: UUID) -> Staff:
        return selectors.staff_member_for(self.actor, row_id)

    def find_for_change(self, row_id: UUID) -> Staff:
        return selectors.staff_member_for(self.actor, row_id, Action.CHANGE_STAFF, lock=True)

    def exists(self, row_id: UUID) -> bool:
        return selectors.staff_exists(row_id)

    def create(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> Staff:
        return services.enter_staff(actor=self.actor, staff_id=row_id, digest=digest, **wanted)

    def change(self, row: Staff, wanted: dict[str, Any]) -> Staff:
        return services.change_staff(actor=self.actor, staff=row, now=self.now, **wanted)


class RolesOfStaff(ListDoor):
    """The roles that somebody holds, held and will hold."""

    resource = "staff_roles"
    actions = {"GET": Action.SEE_STAFF}
    outputs = {"GET": StaffRoleRecord}
    order = ("-starts_on", "-id")

    def rows(self, asked: dict[str, Any]) -> Any:
        person = selectors.staff_member_for(self.actor, self.kwargs["id"])
        return selectors.roles_for(self.actor, staff=person)


class StaffRoleDetail(ChangeDoor):
    """One role of one person."""

    resource = "staff_roles"
    actions = {"GET": Action.SEE_STAFF, "PUT": Action.CHANGE_STAFF, "PATCH": Action.CHANGE_STAFF}
    inputs = {"PUT": StaffRoleIn, "PATCH": PeriodEndIn}
    outputs = {"GET": StaffRoleRecord, "PUT": StaffRoleRecord, "PATCH": StaffRoleRecord}
    told_as = {
        "GET": "One role of one person",
        "PUT": "Give somebody a role from a day on",
        "PATCH": "Set the last day of a role",
    }
    form = StaffRoleIn
    change_form = PeriodEndIn

    def find(self, row_id: UUID) -> StaffRole:
        return one(selectors.roles_for(self.actor), row_id)

    def find_for_change(self, row_id: UUID) -> StaffRole:
        return one(selectors.roles_for(self.actor, Action.CHANGE_STAFF), row_id, lock=True)

    def exists(self, row_id: UUID) -> bool:
        return selectors.role_exists(row_id)

    def create(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> StaffRole:
        return services.give_role(actor=self.actor, row_id=row_id, digest=digest, now=self.now, **wanted)

    def change(self, row: StaffRole, wanted: dict[str, Any]) -> StaffRole:
        ends_on = wanted.get("ends_on", row.ends_on)
        return services.end_role(actor=self.actor, held=row, ends_on=ends_on, now=self.now)
