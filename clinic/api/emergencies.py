"""Doors to emergency access: ask, choose among several, read the card again, say why."""

import json
from typing import Any
from uuid import UUID

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from clinic.api.examples import example
from clinic.api.fields import Id, Instant, QueryFlag, StrictInput, Text, word
from clinic.api.views import ApiView, ListDoor
from clinic.enums import PrecautionKind, PrecautionSource, Relationship, Right
from clinic.errors import InvalidField
from clinic.models import Client, EmergencyAccess
from clinic.rules.access import Action
from clinic.selectors import emergencies as selectors
from clinic.selectors.rows import one
from clinic.services import emergencies as services

CLIENT = "0198a1f0-0000-7000-8000-0000000000c1"
ACCESS = {
    "id": "0198a1f0-0000-7000-8000-0000000000d8",
    "client": CLIENT,
    "opened_by": "0198a1f0-0000-7000-8000-0000000000a1",
    "begun_at": "2026-03-03T18:00:00Z",
    "ends_at": "2026-03-03T19:00:00Z",
    "reason": None,
    "explained_at": None,
}
NAMED = {
    "client": CLIENT,
    "given_name": "Mirela",
    "family_name": "Oduya",
    "preferred_name": "Miri",
    "birth_date": "2021-05-17",
}
CARD = {
    **NAMED,
    "precautions": [
        {
            "kind": "seizure_plan",
            "text": "Lay on the side, note the time, call 911 after 5 minutes",
            "refused": [],
            "warned": [],
            "set_by": "physician",
            "starts_on": "2026-01-12",
        }
    ],
    "contacts_are": "emergency_contact",
    "contacts": [
        {"name": "Tamsin Oduya", "phone": "+1 312 555 0142", "language": "en", "relationships": ["parent"]},
    ],
}


@example({"client": CLIENT}, further={"by name": {"name": "Miri Oduya"}})
class EmergencyIn(StrictInput):
    """Which child: by its id, or by words of its names."""

    client = Id(required=False)
    name = Text(min_length=2, max_length=100, required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if len(attrs) != 1:
            text = "Say which child, by its id or by its name"
            raise serializers.ValidationError({"name": [serializers.ErrorDetail(text, code="one_of_two")]})
        return attrs


@example({"client": CLIENT})
class EmergencyChoiceIn(StrictInput):
    """Which of several children was meant."""

    client = Id()


@example({"reason": "Seizure in the gym; her own therapist was at the other site"})
class EmergencyReasonIn(StrictInput):
    """Why it was necessary; those concerned see this text."""

    reason = Text(max_length=500, multiline=True)


@example(ACCESS)
class EmergencyAccessRecord(serializers.Serializer):
    """Who asked for what one child's safety rests on, when, and why."""

    id = serializers.UUIDField()
    client = serializers.UUIDField(source="client_id", allow_null=True, help_text="null until she has chosen")
    opened_by = serializers.UUIDField(source="opened_by_id")
    begun_at = Instant()
    ends_at = Instant()
    reason = serializers.CharField(allow_null=True, help_text="null until it is given")
    explained_at = Instant(allow_null=True)


class ChildNamed(serializers.Serializer):
    """One of the children who bear the name."""

    client = serializers.UUIDField(source="pk")
    given_name = serializers.CharField()
    family_name = serializers.CharField()
    preferred_name = serializers.CharField()
    birth_date = serializers.DateField()


class PrecautionOnCard(serializers.Serializer):
    """What must not be done, or only with care; of a seizure plan, what is done."""

    kind = word(PrecautionKind)
    text = serializers.CharField()
    refused = serializers.ListField(child=serializers.CharField())
    warned = serializers.ListField(child=serializers.CharField())
    set_by = word(PrecautionSource)
    starts_on = serializers.DateField()


class ContactOnCard(serializers.Serializer):
    """Whom to call."""

    name = serializers.CharField(source="contact.name")
    phone = serializers.CharField(source="contact.phone")
    language = serializers.CharField(source="contact.language")
    relationships = serializers.ListField(child=word(Relationship))


@example(CARD)
class EmergencyCard(serializers.Serializer):
    """What one child's safety rests on today; what a seizure or an allergy asks for stands first."""

    client = serializers.UUIDField(source="client.pk")
    given_name = serializers.CharField(source="client.given_name")
    family_name = serializers.CharField(source="client.family_name")
    preferred_name = serializers.CharField(source="client.preferred_name")
    birth_date = serializers.DateField(source="client.birth_date")
    precautions = PrecautionOnCard(many=True)
    contacts_are = word(Right, help_text="consent_to_care where no emergency contact is recorded")
    contacts = ContactOnCard(many=True)


@example({"access": ACCESS, "card": CARD, "children": []})
class EmergencyAnswer(serializers.Serializer):
    """The card of the one child who is meant; or, where several bear the name, who they are."""

    access = EmergencyAccessRecord()
    card = serializers.SerializerMethodField()
    children = ChildNamed(many=True)

    @extend_schema_field(EmergencyCard(allow_null=True))
    def get_card(self, answer: dict[str, Any]) -> dict[str, Any] | None:
        return EmergencyCard(answer["card"]).data if answer["card"] else None


@example({"client": CLIENT, "explained": "false"})
class EmergencyFilter(StrictInput):
    client = Id(required=False)
    opened_by = Id(required=False)
    explained = QueryFlag(required=False, help_text="Those for which a reason was given, or those that owe one")


class EmergencyDoor(ApiView):
    resource = "emergency_accesses"

    def answer_with(self, access: EmergencyAccess, *, children: list[Client], status: int) -> Response:
        card = selectors.card_of(access.client, self.actor.today) if access.client else None
        shown = {"access": access, "card": card, "children": children}
        return self.show(EmergencyAnswer(shown).data, status=status)


class EmergencyAccesses(EmergencyDoor, ListDoor):
    """Emergency accesses of yours and to children in your reach, latest first."""

    status = 201
    actions = {"GET": Action.SEE_EMERGENCIES, "POST": Action.OPEN_IN_EMERGENCY}
    inputs = {"POST": EmergencyIn}
    outputs = {"GET": EmergencyAccessRecord, "POST": EmergencyAnswer}
    filters = EmergencyFilter
    told_as = {
        "POST": "In an emergency: a child's precautions, allergies, seizure plan and emergency contacts, at once.\n\n"
        "Any clinician may ask, about any child; the reason is given afterwards. Whoever treats the child, whoever "
        "answers for them and the administrators are told. Where several children bear the name, `children` says who "
        "they are, and `/choose/` opens one.",
    }
    order = ("-begun_at", "-id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.accesses_for(self.actor, **asked)

    def post(self, request: Request) -> Response:
        wanted = self.read(EmergencyIn)
        return self.write(lambda: self._open(wanted))

    def _open(self, wanted: dict[str, Any]) -> Response:
        ((member, value),) = wanted.items()
        if member == "client":
            found = list(selectors.any_child(self.actor).filter(pk=value))
        else:
            found = selectors.children_called(self.actor, value)
        if not found:
            raise InvalidField(f"/{member}", "There is no such child", code="not_found")
        for child in found:
            self.touch(child.pk)
        access = services.open_access(actor=self.actor, found=found, now=self.now)
        return self.answer_with(access, children=found if access.client is None else [], status=201)

    def ask_reach_again(self, kept: Response) -> None:
        self.touch_row(selectors.access_in_force(self.actor, json.loads(kept.data)["access"]["id"], self.now))


class EmergencyAccessDetail(EmergencyDoor):
    """One emergency access: who, when and why."""

    actions = {"GET": Action.SEE_EMERGENCIES}
    outputs = {"GET": EmergencyAccessRecord}

    def get(self, request: Request, id: UUID) -> Response:
        access = one(selectors.accesses_for(self.actor), id)
        self.touch_row(access)
        return self.show(EmergencyAccessRecord(access).data)


class EmergencyCardAgain(EmergencyDoor):
    """What your emergency access opened, once more, until its hour is over."""

    act = "card"
    actions = {"GET": Action.OPEN_IN_EMERGENCY}
    outputs = {"GET": EmergencyAnswer}

    def get(self, request: Request, id: UUID) -> Response:
        access = selectors.access_in_force(self.actor, id, self.now)
        self.touch_row(access)
        return self.answer_with(access, children=[], status=200)


class EmergencyAct(EmergencyDoor):
    """An act on an emergency access of your own."""

    actions = {"POST": Action.OPEN_IN_EMERGENCY}


class ChooseChild(EmergencyAct):
    """Say which of several children of that name was meant; its card is the answer."""

    act = "choose"
    inputs = {"POST": EmergencyChoiceIn}
    outputs = {"POST": EmergencyAnswer}

    def post(self, request: Request, id: UUID) -> Response:
        wanted = self.read(EmergencyChoiceIn)
        return self.write(lambda: self._choose(id, wanted["client"]))

    def _choose(self, access_id: UUID, client: UUID) -> Response:
        selectors.access_in_force(self.actor, access_id, self.now)
        access = selectors.own_access(self.actor, access_id, lock=True)
        access = services.choose_child(actor=self.actor, access=access, client=client, now=self.now)
        self.touch_row(access)
        return self.answer_with(access, children=[], status=200)

    def ask_reach_again(self, kept: Response) -> None:
        self.touch_row(selectors.access_in_force(self.actor, self.kwargs["id"], self.now))


class ExplainEmergency(EmergencyAct):
    """Say why it was necessary. It is given once and stays as it was given."""

    act = "explain"
    inputs = {"POST": EmergencyReasonIn}
    outputs = {"POST": EmergencyAccessRecord}

    def post(self, request: Request, id: UUID) -> Response:
        wanted = self.read(EmergencyReasonIn)
        return self.write(lambda: self._explain(id, wanted["reason"]))

    def _explain(self, access_id: UUID, reason: str) -> Response:
        access = selectors.own_access(self.actor, access_id, lock=True)
        self.touch_row(access)
        return self.show(EmergencyAccessRecord(services.explain(access=access, reason=reason, now=self.now)).data)

    def ask_reach_again(self, kept: Response) -> None:
        self.touch_row(selectors.own_access(self.actor, self.kwargs["id"]))
