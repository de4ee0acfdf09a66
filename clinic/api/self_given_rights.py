"""The door to rights that somebody gave to herself."""

from typing import Any

from rest_framework import serializers

from clinic.api.examples import example
from clinic.api.fields import Id, Instant, StrictInput, word
from clinic.api.views import ListDoor
from clinic.enums import GivenRight
from clinic.models import SelfGivenRight
from clinic.rules.access import Action
from clinic.selectors import self_given_rights as selectors

PERSON = "0198a1f0-0000-7000-8000-0000000000a9"


@example(
    {
        "id": "0198a1f0-0000-7000-8000-0000000000da",
        "staff": PERSON,
        "kind": "role",
        "subject": "0198a1f0-0000-7000-8000-0000000000b2",
        "given_at": "2026-03-03T18:00:00Z",
    }
)
class SelfGivenRightRecord(serializers.Serializer):
    """A right that somebody gave to herself, or more days of one; `subject` is the row that grants it."""

    id = serializers.UUIDField()
    staff = serializers.UUIDField(source="staff_id")
    kind = word(GivenRight)
    subject = serializers.UUIDField(source="subject_id")
    given_at = Instant()


@example({"staff": PERSON})
class SelfGivenRightFilter(StrictInput):
    staff = Id(required=False)


class SelfGivenRightList(ListDoor):
    """Rights that administrators gave to themselves, latest first.

    A small practice cannot do without it, so it is allowed; the other administrators are told at once (everybody else,
    where there is no other), and whoever it concerns.
    """

    resource = "self_given_rights"
    actions = {"GET": Action.SEE_SELF_GIVEN_RIGHTS}
    outputs = {"GET": SelfGivenRightRecord}
    filters = SelfGivenRightFilter
    order = ("-given_at", "-id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.self_given_rights_for(self.actor, **asked)

    def touch_row(self, row: SelfGivenRight) -> None:
        if row.episode is not None:
            self.touch(row.episode.client_id, row.episode_id)
