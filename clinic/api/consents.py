"""Doors to consents."""

from typing import Any
from uuid import UUID

from rest_framework import serializers

from clinic.api.examples import example
from clinic.api.fields import Day, Id, StrictInput, Text, word
from clinic.api.periods import PeriodIn, PeriodRecord
from clinic.api.views import ActDoor, FixedDoor, ListDoor, RowDoor
from clinic.enums import ConsentKind
from clinic.models import Consent
from clinic.rules.access import Action
from clinic.selectors import contacts as selectors
from clinic.selectors.rows import one
from clinic.services import consents as services

GIVEN = {
    "client": "0198a1f0-0000-7000-8000-0000000000c1",
    "episode": "0198a1f0-0000-7000-8000-0000000000e1",
    "kind": "treat",
    "given_by": "0198a1f0-0000-7000-8000-0000000000c7",
    "starts_on": "2026-02-20",
    "ends_on": "2027-02-19",
}
EXCEPTION = "Why it was accepted although she may not decide on that day; without it this is refused. No clinical word"


@example(GIVEN)
class ConsentIn(PeriodIn):
    """What was consented to, by whom; for one episode, or for the child."""

    client = Id()
    episode = Id(required=False, allow_null=True)
    kind = word(ConsentKind)
    given_by = Id()
    exception = Text(max_length=500, required=False, help_text=EXCEPTION)


@example({"revoked_on": "2026-06-01", "revoked_by": GIVEN["given_by"]})
class ConsentRevocationIn(StrictInput):
    """From which day it no longer holds, and by whose word."""

    revoked_on = Day()
    revoked_by = Id(required=False)
    exception = Text(max_length=500, required=False, help_text=EXCEPTION)


@example(
    {
        "id": "0198a1f0-0000-7000-8000-0000000000b7",
        "version": 1,
        **GIVEN,
        "exception": "",
        "given_with_authority": True,
        "revoked_on": None,
        "revoked_by": None,
        "revocation_exception": "",
    }
)
class ConsentRecord(PeriodRecord):
    """A consent, whether it was taken back, and whether whoever gave it could decide on that day."""

    client = serializers.UUIDField(source="client_id")
    episode = serializers.UUIDField(source="episode_id", allow_null=True)
    kind = word(ConsentKind)
    given_by = serializers.UUIDField(source="given_by_id")
    exception = serializers.CharField()
    given_with_authority = serializers.SerializerMethodField(
        help_text="By what is recorded now of authorities and court orders on the first day: false is to be looked at"
    )
    revoked_on = serializers.DateField(allow_null=True)
    revoked_by = serializers.UUIDField(source="revoked_by_id", allow_null=True)
    revocation_exception = serializers.CharField()

    def get_given_with_authority(self, consent: Consent) -> bool:
        return selectors.given_with_authority(consent)


@example({"client": "0198a1f0-0000-7000-8000-0000000000c1", "kind": "treat", "on": "2026-03-03"})
class ConsentFilter(StrictInput):
    client = Id(required=False)
    kind = word(ConsentKind, required=False)
    on = Day(required=False, help_text="Those that hold on this day")


class ConsentRow(RowDoor):
    resource = "consents"

    def find(self, row_id: UUID) -> Consent:
        return one(selectors.consents_for(self.actor), row_id)

    def find_for_change(self, row_id: UUID) -> Consent:
        return one(selectors.consents_for(self.actor, Action.CHANGE_CONSENTS), row_id, lock=True)


class ConsentList(ListDoor):
    """The consents for the children in your reach; those for an episode only as the episode is."""

    resource = "consents"
    actions = {"GET": Action.SEE_CONSENTS}
    outputs = {"GET": ConsentRecord}
    filters = ConsentFilter
    order = ("-starts_on", "-id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.consents_for(self.actor, **asked)


class ConsentDetail(ConsentRow, FixedDoor):
    """One consent."""

    actions = {"GET": Action.SEE_CONSENTS, "PUT": Action.CHANGE_CONSENTS}
    inputs = {"PUT": ConsentIn}
    outputs = {"GET": ConsentRecord, "PUT": ConsentRecord}
    told_as = {
        "GET": "One consent",
        "PUT": "Record a consent.\n\nWhoever gives it stands beside the child, and may on its first day decide on her "
        "care (a health record) or schooling (an education record); for messages to herself she needs no such "
        "authority. What was accepted from another is recorded with its `exception`.",
    }
    form = ConsentIn

    def exists(self, row_id: UUID) -> bool:
        return selectors.consent_exists(row_id)

    def create(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> Consent:
        return services.record_consent(actor=self.actor, row_id=row_id, digest=digest, **wanted)


class RevokeConsent(ConsentRow, ActDoor):
    """Take a consent back from a day on; what rested on it before stays as it was.

    Whoever gave it may take it back, and whoever may decide on that day; what was accepted from another is recorded
    with its `exception`.
    """

    act = "revoke"
    actions = {"POST": Action.CHANGE_CONSENTS}
    inputs = {"POST": ConsentRevocationIn}
    outputs = {"POST": ConsentRecord}

    def perform(self, row: Consent, wanted: dict[str, Any]) -> Consent:
        return services.revoke_consent(actor=self.actor, consent=row, now=self.now, **wanted)
