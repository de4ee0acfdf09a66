"""Doors to the co-sign desk: what waits for a supervisor, what waits for nobody, several co-signed at once."""

from typing import Any, ClassVar

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from clinic.api.documents import DIGEST
from clinic.api.examples import example
from clinic.api.fields import Id, Instant, Pattern, StrictInput
from clinic.api.views import ApiView
from clinic.enums import DocumentKind, DocumentState, FlagSeverity
from clinic.rules.access import Action
from clinic.selectors.documents import documents_for
from clinic.services import pins
from scheduling.api.desk import HotList
from scheduling.api.notes import Pin
from scheduling.selectors import cosign_queue as selectors
from scheduling.services import cosigning
from scheduling.services.cosigning import MOST_AT_ONCE, Outcome

NOTE = "0198a1f0-0000-7000-8000-0000000000d1"


class UnassignedRow(serializers.Serializer):
    """A signed version that waits for its co-signature."""

    document = serializers.UUIDField()
    kind = serializers.CharField()
    version = serializers.IntegerField()
    service_date = serializers.DateField()
    cosign_due_at = Instant()
    overdue = serializers.BooleanField()
    episode = serializers.UUIDField()
    client = serializers.UUIDField()
    given_name = serializers.CharField()
    family_name = serializers.CharField()
    author = serializers.UUIDField()
    author_name = serializers.CharField()
    number = serializers.IntegerField()
    digest = serializers.CharField()
    signed_at = Instant()
    flags = serializers.IntegerField()


class QueueFlag(serializers.Serializer):
    """A flag of the version, in one sentence."""

    check = serializers.CharField()
    severity = serializers.ChoiceField(choices=[severity.value for severity in FlagSeverity])
    sentence = serializers.CharField()


class QueueRow(UnassignedRow):
    """A signed version that waits for its co-signature, with what looks wrong and whether you have opened it."""

    owner = serializers.UUIDField(allow_null=True, help_text="On whose list it stands: yours, or whom you cover for")
    flagged = QueueFlag(many=True, help_text="The gravest first")
    opened_at = Instant(allow_null=True, help_text="When you first fetched this version")
    flagged_since_opened = serializers.BooleanField(help_text="Then open it again before you co-sign")
    returned_because = serializers.CharField(allow_null=True, help_text="Why the version before this one was returned")


class UnassignedCosignatures(HotList):
    """Signed versions that nobody is there to co-sign: an administrator names a successor."""

    resource = "cosign_queue"
    act = "unassigned"
    actions = {"GET": Action.CHANGE_SUPERVISION}
    outputs = {"GET": UnassignedRow}
    key = selectors.QUEUE_KEY
    unassigned: ClassVar[bool] = True

    def fetch(self, key: list[Any] | None, backwards: bool, limit: int) -> list[Any]:
        return selectors.queue_page(
            self.actor, now=self.now, unassigned=self.unassigned, key=key, backwards=backwards, limit=limit
        )

    def shown(self, rows: list[Any]) -> list[Any]:
        names = self.outputs["GET"]().fields
        return [{name: row[name] for name in names} for row in rows]


class CosignQueue(UnassignedCosignatures):
    """What waits for your co-signature: overdue first, then flagged, then the longest due

    Whoever covers sees what was done on the days of her cover too."""

    act = ""
    actions = {"GET": Action.COSIGN_NOTES}
    outputs = {"GET": QueueRow}
    unassigned = False


class CosignItem(StrictInput):
    """A document, and the digest of the version of it that you read."""

    document = Id()
    digest = Pattern(r"^[0-9a-f]{64}\Z", max_length=64)


@example({"pin": "580213", "items": [{"document": NOTE, "digest": DIGEST}]})
class CosignSeveralIn(StrictInput):
    """The supervisor's PIN, once, and what she co-signs with it."""

    pin = Pin()
    items = CosignItem(many=True, allow_empty=False, max_length=MOST_AT_ONCE)  # type: ignore[call-arg]

    def validate_items(self, items: list[dict[str, Any]]) -> list[dict[str, Any]]:
        if len({item["document"] for item in items}) < len(items):
            raise serializers.ValidationError("Each document stands once", code="doubled")
        return items


class CosignAnswer(serializers.Serializer):
    """What became of one item; a refused one says why by its code, and nothing of it was done."""

    document = serializers.UUIDField()
    outcome = serializers.ChoiceField(choices=[outcome.value for outcome in Outcome])
    code = serializers.CharField(help_text="Empty where it was co-signed")
    detail = serializers.CharField()
    kind = serializers.ChoiceField(choices=[kind.value for kind in DocumentKind], allow_null=True)
    state = serializers.ChoiceField(choices=[state.value for state in DocumentState], allow_null=True)
    version = serializers.IntegerField(allow_null=True)


@example(
    {
        "results": [
            {
                "document": NOTE,
                "outcome": "cosigned",
                "code": "",
                "detail": "",
                "kind": "visit_note",
                "state": "cosigned",
                "version": 3,
            }
        ]
    }
)
class CosignSeveralRecord(serializers.Serializer):
    """Each item's own answer, in the order in which they were sent."""

    results = CosignAnswer(many=True)


class CosignSeveral(ApiView):
    """Co-sign several versions that you have opened, under one PIN

    At most 50. Each is done or refused by itself, with the code that its own door would give; needs an
    Idempotency-Key."""

    resource = "cosign_queue"
    act = "cosign"
    actions = {"POST": Action.COSIGN_NOTES}
    inputs = {"POST": CosignSeveralIn}
    outputs = {"POST": CosignSeveralRecord}
    key_required = True

    def post(self, request: Request) -> Response:
        wanted = self.read(CosignSeveralIn)
        # The PIN is asked first and its misses are counted in a transaction of their own.
        proof = pins.prove(actor=self.actor, pin=wanted["pin"], now=self.now)
        return self.write(lambda: self._cosign(wanted["items"], proof))

    def _cosign(self, items: list[dict[str, Any]], proof: pins.PinProof) -> Response:
        asked = {item["document"]: item["digest"] for item in items}
        answers = cosigning.cosign_several(actor=self.actor, asked=asked, proof=proof, now=self.now)
        for answer in answers:
            if answer.row is not None:
                self.touch_row(answer.row)
        return self.show(CosignSeveralRecord({"results": answers}).data)

    def ask_reach_again(self, kept: Response) -> None:
        """What she co-signed stays in her reach; of the others only what still is stands in the trail again."""
        named = [item["document"] for item in self.read(CosignSeveralIn)["items"]]
        for row in documents_for(self.actor, Action.COSIGN_NOTES).filter(pk__in=named):
            self.touch_row(row)
