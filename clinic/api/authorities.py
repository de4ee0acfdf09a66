"""The door that says who may decide, who may know and who may pick up a child, on a day."""

from typing import Any
from uuid import UUID

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from clinic.api.contacts import PERSON, ContactRecord
from clinic.api.examples import example
from clinic.api.fields import Day, StrictInput, word
from clinic.api.views import ApiView
from clinic.enums import AuthorityKind, Relationship, Right
from clinic.models import Client
from clinic.rules.access import Action
from clinic.rules.authorities import Observation, observations
from clinic.selectors import clients
from clinic.selectors import contacts as selectors

MOTHER = "0198a1f0-0000-7000-8000-0000000000c7"


class RightsOfContact(serializers.Serializer):
    """One person beside the child on this day."""

    contact = ContactRecord()
    relationships = serializers.ListField(child=word(Relationship))
    held = serializers.ListField(child=word(Right))
    taken_by_court = serializers.ListField(
        child=word(Right),
        help_text="What she would hold on this day but for an order",
    )


@example(
    {
        "client": "0198a1f0-0000-7000-8000-0000000000c1",
        "on": "2026-03-03",
        "people": [
            {
                "contact": {"id": MOTHER, "version": 1, **PERSON},
                "relationships": ["parent"],
                "held": ["consent_to_care", "information", "pick_up"],
                "taken_by_court": [],
            }
        ],
        "consent_to_care": [MOTHER],
        "educational_decisions": [],
        "information": [MOTHER],
        "pick_up": [MOTHER],
        "emergency_contact": [],
        "observations": [],
    }
)
class RightsOnDay(serializers.Serializer):
    """Who stands beside a child on a day, with the ids of those who hold each right."""

    client = serializers.UUIDField()
    on = serializers.DateField()
    people = RightsOfContact(many=True)
    consent_to_care = serializers.ListField(child=serializers.UUIDField())
    educational_decisions = serializers.ListField(child=serializers.UUIDField())
    information = serializers.ListField(child=serializers.UUIDField())
    pick_up = serializers.ListField(child=serializers.UUIDField())
    emergency_contact = serializers.ListField(child=serializers.UUIDField())
    observations = serializers.ListField(child=word(Observation))


@example({"on": "2026-03-03"})
class RightsFilter(StrictInput):
    on = Day(required=False, help_text="Today where no day is given")


class AuthoritiesOnDay(ApiView):
    """Who may decide, who may know and who may pick up a child on a day: what was granted, less what a court took away.

    No right follows from another. The observations say what to look at, like two who may consent to care; what follows
    from it is not decided here.
    """

    resource = "clients"
    act = "authorities"
    actions = {"GET": Action.SEE_CLIENTS}
    outputs = {"GET": RightsOnDay}
    filters = RightsFilter

    def get(self, request: Request, id: UUID) -> Response:
        day = self.asked().get("on", self.actor.today)
        child = clients.client_for(self.actor, id)
        self.touch(child.pk)
        return self.show(RightsOnDay(told(child, day)).data)


def told(child: Client, day: Any) -> dict[str, Any]:
    beside = selectors.beside_on(child, day)
    people = [
        {
            "contact": one.contact,
            "relationships": one.relationships,
            "held": in_order(one.standing.held),
            "taken_by_court": in_order(one.standing.taken),
        }
        for one in beside
    ]
    holders = {right.value: [one.contact.pk for one in beside if right in one.standing.held] for right in Right}
    seen = observations({one.contact.pk: one.standing for one in beside}, birth_date=child.birth_date, day=day)
    return {"client": child.pk, "on": day, "people": people, **holders, "observations": seen}


def in_order(rights: frozenset[AuthorityKind]) -> list[str]:
    return [right.value for right in Right if right in rights]
