"""Doors to the contacts between supervisors and assistants."""

from typing import Any
from uuid import UUID

from rest_framework import serializers

from clinic.api.examples import example
from clinic.api.fields import Day, Flag, Id, StrictInput, Text, Whole, word
from clinic.api.periods import not_in_the_future
from clinic.api.views import ApiView, FixedDoor, ListDoor
from clinic.enums import ContactMedium
from clinic.errors import InvalidField
from clinic.models import SupervisoryContact
from clinic.rules.access import Action
from clinic.selectors import supervisory_contacts as selectors
from clinic.selectors.rows import one
from clinic.services import supervisory_contacts as services

PARTS = ("discussed", "present", "seen_by_therapist")
ABOUT = {
    "episode": "0198a1f0-0000-7000-8000-0000000000e1",
    "discussed": True,
    "present": True,
    "seen_by_therapist": False,
}
CONTACT = {
    "assistant": "0198a1f0-0000-7000-8000-0000000000a1",
    "supervisor": "0198a1f0-0000-7000-8000-0000000000a2",
    "service_date": "2026-03-05",
    "medium": "in_person",
    "minutes": 30,
    "activity": "Watched a session, then talked over the week",
}


@example(ABOUT)
class ContactClientIn(StrictInput):
    """A client whom the contact was about, in one episode; at least one of the three is true."""

    episode = Id()
    discussed = Flag(required=False)
    present = Flag(required=False)
    seen_by_therapist = Flag(required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if not any(attrs.get(part) for part in PARTS):
            raise serializers.ValidationError("Say what part the client had", code="no_part")
        return attrs


@example({**CONTACT, "clients": [ABOUT]})
class SupervisoryContactIn(StrictInput):
    """A contact as facts: when, by what medium, how long, what was done, about whom."""

    assistant = Id()
    supervisor = Id()
    service_date = Day()
    medium = word(ContactMedium)
    minutes = Whole(min_value=1, max_value=1440)
    activity = Text(max_length=500)
    clients = ContactClientIn(many=True, required=False, max_length=100)  # type: ignore[call-arg]

    def validate_service_date(self, day: Any) -> Any:
        return not_in_the_future(self, day)

    def validate_clients(self, clients: list[dict[str, Any]]) -> list[dict[str, Any]]:
        if len({about["episode"] for about in clients}) < len(clients):
            raise serializers.ValidationError("An episode stands here twice", code="doubled")
        return clients


@example({"client": "0198a1f0-0000-7000-8000-0000000000c1", **ABOUT})
class ContactClientRecord(serializers.Serializer):
    """A client whom the contact was about."""

    client = serializers.UUIDField(source="client_id")
    episode = serializers.UUIDField(source="episode_id")
    discussed = serializers.BooleanField()
    present = serializers.BooleanField()
    seen_by_therapist = serializers.BooleanField()


@example(
    {
        "id": "0198a1f0-0000-7000-8000-0000000000b9",
        "version": 1,
        **CONTACT,
        "recorded_by": "0198a1f0-0000-7000-8000-0000000000a1",
        "recorded_at": "2026-03-05T21:10:00Z",
        "clients": [{"client": "0198a1f0-0000-7000-8000-0000000000c1", **ABOUT}],
    }
)
class SupervisoryContactRecord(serializers.Serializer):
    """A contact as it was recorded; whether it was direct supervision is a rule's to say."""

    id = serializers.UUIDField()
    version = serializers.IntegerField()
    assistant = serializers.UUIDField(source="assistant_id")
    supervisor = serializers.UUIDField(source="supervisor_id")
    service_date = serializers.DateField()
    medium = word(ContactMedium)
    minutes = serializers.IntegerField()
    activity = serializers.CharField()
    recorded_by = serializers.UUIDField(source="recorded_by_id")
    recorded_at = serializers.DateTimeField()
    clients = ContactClientRecord(many=True)


@example({"assistant": "0198a1f0-0000-7000-8000-0000000000a1"})
class SupervisoryContactFilter(StrictInput):
    assistant = Id(required=False)
    supervisor = Id(required=False)


class SupervisoryContactDoor(ApiView):
    resource = "supervisory_contacts"

    def touch_row(self, row: SupervisoryContact) -> None:
        for about in row.clients.all():
            self.touch(about.client_id, about.episode_id)


class SupervisoryContactList(SupervisoryContactDoor, ListDoor):
    """The supervisory contacts in which you took part; all of them for an administrator."""

    actions = {"GET": Action.SEE_CONTACTS}
    outputs = {"GET": SupervisoryContactRecord}
    filters = SupervisoryContactFilter
    order = ("-service_date", "-id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.contacts_for(self.actor, **asked)


class SupervisoryContactDetail(SupervisoryContactDoor, FixedDoor):
    """One supervisory contact."""

    actions = {"GET": Action.SEE_CONTACTS, "PUT": Action.RECORD_CONTACTS}
    inputs = {"PUT": SupervisoryContactIn}
    outputs = {"GET": SupervisoryContactRecord, "PUT": SupervisoryContactRecord}
    told_as = {
        "GET": "One supervisory contact",
        "PUT": "Record a contact between an assistant and her supervisor.\n\nOne of the two records it, for a day on "
        "which they held these roles. It stays as it was recorded.",
    }
    queued = ("PUT",)
    form = SupervisoryContactIn

    def find(self, row_id: UUID) -> SupervisoryContact:
        return one(selectors.contacts_for(self.actor), row_id)

    def find_for_change(self, row_id: UUID) -> SupervisoryContact:
        return one(selectors.contacts_for(self.actor, Action.RECORD_CONTACTS), row_id, lock=True)

    def exists(self, row_id: UUID) -> bool:
        return selectors.contact_exists(row_id)

    def create(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> SupervisoryContact:
        given = {"clients": [], **wanted}
        return services.record_contact(actor=self.actor, row_id=row_id, digest=digest, now=self.now, **given)

    def replace(self, row: SupervisoryContact, wanted: dict[str, Any]) -> SupervisoryContact:
        given = {_part(about) for about in wanted.pop("clients", [])}
        held = {_part({**vars(about), "episode": about.episode_id}) for about in row.clients.all()}
        if given != held:
            raise InvalidField("/clients", "This stays as it was recorded", code="fixed")
        return super().replace(row, wanted)


def _part(about: dict[str, Any]) -> tuple[Any, ...]:
    return (about["episode"], *(about.get(part, False) for part in PARTS))
