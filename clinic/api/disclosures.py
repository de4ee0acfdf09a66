"""Doors to what of a child's record went out, and to who has seen it: two accounts that the law keeps apart."""

from typing import Any
from uuid import UUID

from rest_framework import serializers

from clinic.api.examples import example
from clinic.api.fields import Day, Id, Instant, QueryFlag, StrictInput, Text, word
from clinic.api.views import FixedDoor, ListDoor
from clinic.enums import DisclosureAuthority
from clinic.models import AuditEvent, Disclosure
from clinic.rules.access import Action
from clinic.rules.disclosures import held_on
from clinic.selectors import accesses, disclosures
from clinic.selectors.clients import client_for
from clinic.selectors.rows import one
from clinic.services import disclosures as services

MADE = {
    "episode": "0198a1f0-0000-7000-8000-0000000000e1",
    "requested_on": "2026-03-02",
    "disclosed_on": "2026-03-04",
    "recipient": "County court, family division",
    "recipient_address": "12 Mill Street, Springfield",
    "what": "Notes of January and February 2026",
    "purpose": "Ordered for the hearing of 20 March",
    "authority": "court_order",
}
CHILD = "0198a1f0-0000-7000-8000-0000000000c1"


@example(MADE)
class DisclosureIn(StrictInput):
    """What of one episode's record was asked for or went out: when, to whom, what, why, by what right.

    Say at least one of the two days. A consent to the release goes with the authority `authorization`. `replaces` is an
    earlier row that was recorded wrongly: this one takes its place in every account.
    """

    episode = Id()
    requested_on = Day(required=False, allow_null=True)
    disclosed_on = Day(required=False, allow_null=True)
    recipient = Text(max_length=300)
    recipient_address = Text(max_length=500, required=False, allow_blank=True)
    what = Text(max_length=1000)
    purpose = Text(max_length=1000)
    authority = word(DisclosureAuthority)
    consent = Id(required=False, allow_null=True)
    replaces = Id(required=False, allow_null=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        asked, went = attrs.get("requested_on"), attrs.get("disclosed_on")
        if asked is None and went is None:
            raise serializers.ValidationError({"disclosed_on": "Say when it was asked for or went out"}, code="no_day")
        if asked and went and went < asked:
            raise serializers.ValidationError({"disclosed_on": "This is before the request"}, code="before_request")
        if attrs.get("consent") and attrs["authority"] != DisclosureAuthority.AUTHORIZATION:
            raise serializers.ValidationError(
                {"consent": "A consent goes with the authority of an authorization"}, code="not_by_consent"
            )
        return attrs


@example(
    {
        "id": "0198a1f0-0000-7000-8000-0000000000f8",
        "client": CHILD,
        **MADE,
        "record_regime": "health_record",
        "consent": None,
        "consent_was_in_force": None,
        "replaces": None,
        "replaced_by": None,
        "recorded_by": "0198a1f0-0000-7000-8000-0000000000a9",
        "recorded_at": "2026-03-04T16:20:00Z",
    }
)
class DisclosureRecord(serializers.Serializer):
    """What was asked for or went out, and who recorded it when. A consent that did not hold that day is told."""

    id = serializers.UUIDField()
    client = serializers.UUIDField(source="client_id")
    episode = serializers.UUIDField(source="episode_id")
    record_regime = serializers.CharField(source="episode.record_regime")
    requested_on = serializers.DateField(allow_null=True)
    disclosed_on = serializers.DateField(allow_null=True)
    recipient = serializers.CharField()
    recipient_address = serializers.CharField()
    what = serializers.CharField()
    purpose = serializers.CharField()
    authority = word(DisclosureAuthority)
    consent = serializers.UUIDField(source="consent_id", allow_null=True)
    consent_was_in_force = serializers.SerializerMethodField()
    replaces = serializers.UUIDField(source="replaces_id", allow_null=True)
    replaced_by = serializers.SerializerMethodField()
    recorded_by = serializers.UUIDField(source="recorded_by_id")
    recorded_at = Instant()

    def get_consent_was_in_force(self, row: Disclosure) -> bool | None:
        """Of the day on which it went out; nothing where no consent is named, or nothing went out."""
        held, day = row.consent, row.disclosed_on
        if held is None or day is None:
            return None
        return held_on(day, starts_on=held.starts_on, ends_on=held.ends_on, revoked_on=held.revoked_on)

    def get_replaced_by(self, row: Disclosure) -> UUID | None:
        later = getattr(row, "replaced_by", None)
        return later.pk if later else None


class DisclosureDetail(FixedDoor):
    """One disclosure."""

    resource = "disclosures"
    actions = {"GET": Action.SEE_DISCLOSURES, "PUT": Action.RECORD_DISCLOSURES}
    inputs = {"PUT": DisclosureIn}
    outputs = {"GET": DisclosureRecord, "PUT": DisclosureRecord}
    told_as = {
        "GET": "One disclosure",
        "PUT": "Record what was asked for or went out of a record.\n\nIt stays as it is recorded; another row with "
        "`replaces` takes the place of one that was wrong.",
    }
    form = DisclosureIn

    def find(self, row_id: UUID) -> Disclosure:
        return one(disclosures.disclosures_for(self.actor), row_id)

    def find_for_change(self, row_id: UUID) -> Disclosure:
        return one(disclosures.disclosures_for(self.actor, Action.RECORD_DISCLOSURES), row_id)

    def exists(self, row_id: UUID) -> bool:
        return disclosures.disclosure_exists(row_id)

    def create(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> Disclosure:
        return services.record_disclosure(actor=self.actor, row_id=row_id, digest=digest, now=self.now, **wanted)


@example({"account": True, "asked_on": "2026-03-10"})
class DisclosureFilter(StrictInput):
    """`account`: only what an account asked for on that day lists; today, if no day is said."""

    account = QueryFlag(required=False)
    asked_on = Day(required=False)


class DisclosuresOfClient(ListDoor):
    """What of a child's record was asked for or went out, latest recorded first.

    With `account=true` what the law lists: of a health record the disclosures of the six years before, but not those to
    the family, under an authorization, or for treatment, payment and operations (45 CFR 164.528); of an education
    record requests and disclosures for as long as it is kept, but not those to the family, to school officials, with
    written consent, or of directory information (34 CFR 99.32). Who has merely seen the record stands under `accesses`.
    """

    resource = "clients"
    act = "disclosures"
    actions = {"GET": Action.SEE_DISCLOSURES}
    outputs = {"GET": DisclosureRecord}
    filters = DisclosureFilter
    order = ("-recorded_at", "-id")

    def rows(self, asked: dict[str, Any]) -> Any:
        self.client = client_for(self.actor, self.kwargs["id"], Action.SEE_DISCLOSURES)
        rows = disclosures.disclosures_for(self.actor).filter(client=self.client)
        if not asked.get("account"):
            return rows
        return disclosures.account_of(rows, asked_on=asked.get("asked_on", self.actor.today))

    def touch_rows(self, rows: Any) -> None:
        self.touch(self.client.pk)


@example(
    {
        "id": "0198a1f0-0000-7000-8000-0000000000f9",
        "at": "2026-03-04T16:20:00Z",
        "staff": "0198a1f0-0000-7000-8000-0000000000a1",
        "staff_name": "Ana Brandt",
        "roles": ["assistant"],
        "application": "session",
        "action": "notes:read",
        "method": "GET",
        "route": "api/v1/notes/<uuid:id>/",
        "subject": "0198a1f0-0000-7000-8000-0000000000d1",
        "episodes": ["0198a1f0-0000-7000-8000-0000000000e1"],
        "reason": "",
    }
)
class AccessRecord(serializers.Serializer):
    """One request that showed or changed the record: who, in which roles, through which application, what."""

    id = serializers.UUIDField()
    at = Instant()
    staff = serializers.UUIDField(source="actor_id", allow_null=True, help_text="Nobody where a system asked")
    staff_name = serializers.SerializerMethodField()
    roles = serializers.ListField(child=serializers.CharField())
    application = serializers.CharField()
    action = serializers.CharField()
    method = serializers.CharField()
    route = serializers.CharField()
    subject = serializers.UUIDField(source="subject_id", allow_null=True)
    episodes = serializers.SerializerMethodField()
    reason = serializers.CharField()

    def get_staff_name(self, row: AuditEvent) -> str:
        return row.actor.printed_name if row.actor else ""

    def get_episodes(self, row: AuditEvent) -> list[UUID]:
        return accesses.episodes_touched(row, self.context["view"].client.pk)


class AccessesToClient(ListDoor):
    """Who has seen or changed a child's record, latest first: every request that did, this one from the next time on.

    It is a record of use inside the organization. What went to somebody outside stands under `disclosures`.
    """

    resource = "clients"
    act = "accesses"
    actions = {"GET": Action.SEE_ACCESSES}
    outputs = {"GET": AccessRecord}
    order = ("-at", "-id")

    def rows(self, asked: dict[str, Any]) -> Any:
        self.client = client_for(self.actor, self.kwargs["id"], Action.SEE_ACCESSES)
        return accesses.accesses_to(self.actor, self.client)

    def touch_rows(self, rows: Any) -> None:
        self.touch(self.client.pk)
