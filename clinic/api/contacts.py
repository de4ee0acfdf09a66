"""Doors to the people beside a child, and to what they may decide, know or do."""

from typing import Any
from uuid import UUID

from django.core.validators import EmailValidator
from rest_framework import serializers

from clinic.api.examples import example
from clinic.api.fields import Day, Flag, Id, Name, Pattern, StrictInput, Text, word
from clinic.api.periods import PeriodEndIn, PeriodIn, PeriodRecord
from clinic.api.views import ApiView, ChangeDoor, ListDoor
from clinic.enums import AuthorityKind, ContactChannel, Relationship
from clinic.models import Contact, ContactAuthority
from clinic.rules.access import Action
from clinic.selectors import contacts as selectors
from clinic.selectors.rows import one
from clinic.services import contacts as services

PERSON = {
    "name": "Tamsin Oduya",
    "language": "en",
    "phone": "+1 312 555 0142",
    "email": "tamsin@example.org",
    "may_be_messaged": True,
    "channels": ["phone", "email"],
}
AUTHORITY = {
    "contact": "0198a1f0-0000-7000-8000-0000000000c7",
    "client": "0198a1f0-0000-7000-8000-0000000000c1",
    "relationship": "parent",
    "kind": "consent_to_care",
    "court_order": False,
    "starts_on": "2026-02-16",
    "ends_on": None,
}


@example(PERSON)
class ContactIn(StrictInput):
    """A person beside a child."""

    name = Name(max_length=200)
    language = Pattern(
        r"^[a-z]{2,3}(-[A-Za-z0-9]{2,8})*\Z", max_length=35, required=False, help_text="A language tag (RFC 5646)"
    )
    phone = Text(max_length=40, required=False, allow_blank=True)
    email = Text(max_length=254, required=False, allow_blank=True, validators=[EmailValidator()])
    may_be_messaged = Flag(required=False, help_text="Whether messages of this service may go to her at all")
    channels = serializers.ListField(
        child=word(ContactChannel),
        max_length=len(ContactChannel),
        required=False,
        help_text="By which she may be reached",
    )

    def validate_channels(self, channels: list[str]) -> list[str]:
        return sorted(set(channels))


@example({"phone": "+1 312 555 0177"})
class ContactChangeIn(ContactIn):
    """The members to change; those left out stay as they are."""

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, partial=True, **options)


@example({"id": "0198a1f0-0000-7000-8000-0000000000c7", "version": 1, **PERSON})
class ContactRecord(serializers.Serializer):
    """A person beside a child: who she is and how she is reached."""

    id = serializers.UUIDField()
    version = serializers.IntegerField()
    name = serializers.CharField()
    language = serializers.CharField()
    phone = serializers.CharField()
    email = serializers.CharField()
    may_be_messaged = serializers.BooleanField()
    channels = serializers.ListField(child=word(ContactChannel))


@example({"client": "0198a1f0-0000-7000-8000-0000000000c1"})
class ContactFilter(StrictInput):
    client = Id(required=False)


@example(AUTHORITY)
class ContactAuthorityIn(PeriodIn):
    """What a contact may decide, know or do for one child."""

    contact = Id()
    client = Id()
    relationship = word(Relationship)
    kind = word(AuthorityKind)
    court_order = Flag(required=False)


@example({"id": "0198a1f0-0000-7000-8000-0000000000b6", "version": 1, **AUTHORITY})
class ContactAuthorityRecord(PeriodRecord):
    """An authority, from a day to a day."""

    contact = serializers.UUIDField(source="contact_id")
    client = serializers.UUIDField(source="client_id")
    relationship = word(Relationship)
    kind = word(AuthorityKind)
    court_order = serializers.BooleanField()


@example({"client": "0198a1f0-0000-7000-8000-0000000000c1", "on": "2026-03-03"})
class ContactAuthorityFilter(ContactFilter):
    on = Day(required=False)


class ContactDoor(ApiView):
    resource = "contacts"

    def touch_row(self, row: Contact) -> None:
        for authority in row.authorities.all():
            self.touch(authority.client_id)


class ContactList(ContactDoor, ListDoor):
    """The people beside the children in your reach, by name."""

    actions = {"GET": Action.SEE_CLIENTS}
    outputs = {"GET": ContactRecord}
    filters = ContactFilter
    order = ("name", "id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.contacts_for(self.actor, **asked)


class ContactDetail(ContactDoor, ChangeDoor):
    """One person beside a child."""

    actions = {"GET": Action.SEE_CLIENTS, "PUT": Action.CHANGE_CLIENTS, "PATCH": Action.CHANGE_CLIENTS}
    inputs = {"PUT": ContactIn, "PATCH": ContactChangeIn}
    outputs = {"GET": ContactRecord, "PUT": ContactRecord, "PATCH": ContactRecord}
    told_as = {
        "GET": "One person beside a child",
        "PUT": "Enter a person, or replace what is known of her.\n\nA contact authority puts her beside a child; she "
        "is in reach as that child is.",
        "PATCH": "Change how a person is called or reached",
    }
    form = ContactIn
    change_form = ContactChangeIn

    def find(self, row_id: UUID) -> Contact:
        return one(selectors.contacts_for(self.actor), row_id)

    def find_for_change(self, row_id: UUID) -> Contact:
        return one(selectors.contacts_for(self.actor, Action.CHANGE_CLIENTS), row_id, lock=True)

    def exists(self, row_id: UUID) -> bool:
        return selectors.contact_exists(row_id)

    def create(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> Contact:
        return services.enter_contact(actor=self.actor, row_id=row_id, digest=digest, **wanted)

    def change(self, row: Contact, wanted: dict[str, Any]) -> Contact:
        return services.change_contact(actor=self.actor, contact=row, **wanted)


class ContactAuthorityList(ListDoor):
    """What contacts may decide, know or do for the children in your reach, on a day or ever."""

    resource = "contact_authorities"
    actions = {"GET": Action.SEE_CLIENTS}
    outputs = {"GET": ContactAuthorityRecord}
    filters = ContactAuthorityFilter
    order = ("-starts_on", "-id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.authorities_for(self.actor, **asked)


class ContactAuthorityDetail(ChangeDoor):
    """What one contact may decide, know or do for one child."""

    resource = "contact_authorities"
    actions = {"GET": Action.SEE_CLIENTS, "PUT": Action.CHANGE_CLIENTS, "PATCH": Action.CHANGE_CLIENTS}
    inputs = {"PUT": ContactAuthorityIn, "PATCH": PeriodEndIn}
    outputs = {"GET": ContactAuthorityRecord, "PUT": ContactAuthorityRecord, "PATCH": ContactAuthorityRecord}
    told_as = {
        "GET": "One authority of one contact over one child",
        "PUT": "Record what a contact may decide, know or do for a child.\n\nThe same authority twice on one day "
        "answers 409, so that ending it ends it.",
        "PATCH": "Set the last day of an authority",
    }
    form = ContactAuthorityIn
    change_form = PeriodEndIn

    def find(self, row_id: UUID) -> ContactAuthority:
        return one(selectors.authorities_for(self.actor), row_id)

    def find_for_change(self, row_id: UUID) -> ContactAuthority:
        return one(selectors.authorities_for(self.actor, Action.CHANGE_CLIENTS), row_id, lock=True)

    def exists(self, row_id: UUID) -> bool:
        return selectors.authority_exists(row_id)

    def create(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> ContactAuthority:
        return services.grant_authority(actor=self.actor, row_id=row_id, digest=digest, now=self.now, **wanted)

    def change(self, row: ContactAuthority, wanted: dict[str, Any]) -> ContactAuthority:
        ends_on = wanted.get("ends_on", row.ends_on)
        return services.end_authority(actor=self.actor, authority=row, ends_on=ends_on, now=self.now)
