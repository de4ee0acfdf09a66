"""Doors to what a court took from a contact."""

from typing import Any
from uuid import UUID

from rest_framework import serializers

from clinic.api.contacts import ContactAuthorityFilter
from clinic.api.examples import example
from clinic.api.fields import Id, Text, word
from clinic.api.periods import PeriodEndIn, PeriodIn, PeriodRecord
from clinic.api.views import ChangeDoor, ListDoor
from clinic.enums import Right
from clinic.models import CourtOrder
from clinic.rules.access import Action
from clinic.selectors import contacts as selectors
from clinic.selectors.rows import one
from clinic.services import court_orders as services

ORDER = {
    "client": "0198a1f0-0000-7000-8000-0000000000c1",
    "contact": "0198a1f0-0000-7000-8000-0000000000c7",
    "right": "information",
    "reference": "Order of 14 September 2026, family court",
    "starts_on": "2026-09-15",
    "ends_on": None,
}


@example(ORDER)
class CourtOrderIn(PeriodIn):
    """Which right a court takes from which contact, over which child, from a day to a day."""

    client = Id()
    contact = Id()
    right = word(Right)
    reference = Text(max_length=200, required=False, allow_blank=True)


@example(
    {
        "id": "0198a1f0-0000-7000-8000-0000000000b8",
        "version": 1,
        **ORDER,
        "recorded_by": "0198a1f0-0000-7000-8000-0000000000a1",
        "recorded_at": "2026-09-15T14:00:00Z",
    }
)
class CourtOrderRecord(PeriodRecord):
    """An order, from a day to a day, and who recorded it when."""

    client = serializers.UUIDField(source="client_id")
    contact = serializers.UUIDField(source="contact_id")
    right = word(Right)
    reference = serializers.CharField()
    recorded_by = serializers.UUIDField(source="recorded_by_id")
    recorded_at = serializers.DateTimeField()


class CourtOrderList(ListDoor):
    """What courts took from the contacts of the children in your reach, on a day or ever."""

    resource = "court_orders"
    actions = {"GET": Action.SEE_CLIENTS}
    outputs = {"GET": CourtOrderRecord}
    filters = ContactAuthorityFilter
    order = ("-starts_on", "-id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.court_orders_for(self.actor, **asked)


class CourtOrderDetail(ChangeDoor):
    """One order."""

    resource = "court_orders"
    actions = {"GET": Action.SEE_CLIENTS, "PUT": Action.CHANGE_CLIENTS, "PATCH": Action.CHANGE_CLIENTS}
    inputs = {"PUT": CourtOrderIn, "PATCH": PeriodEndIn}
    outputs = {"GET": CourtOrderRecord, "PUT": CourtOrderRecord, "PATCH": CourtOrderRecord}
    told_as = {
        "GET": "One order of a court",
        "PUT": "Record that a court takes a right from a contact.\n\nThe authority stays recorded and does not hold "
        "while the order does.",
        "PATCH": "Set the last day of an order",
    }
    form = CourtOrderIn
    change_form = PeriodEndIn

    def find(self, row_id: UUID) -> CourtOrder:
        return one(selectors.court_orders_for(self.actor), row_id)

    def find_for_change(self, row_id: UUID) -> CourtOrder:
        return one(selectors.court_orders_for(self.actor, Action.CHANGE_CLIENTS), row_id, lock=True)

    def exists(self, row_id: UUID) -> bool:
        return selectors.court_order_exists(row_id)

    def create(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> CourtOrder:
        return services.record_court_order(actor=self.actor, row_id=row_id, digest=digest, now=self.now, **wanted)

    def change(self, row: CourtOrder, wanted: dict[str, Any]) -> CourtOrder:
        ends_on = wanted.get("ends_on", row.ends_on)
        return services.end_court_order(actor=self.actor, order=row, ends_on=ends_on, now=self.now)
