"""Doors to notes and addenda: put, sign, return, co-sign."""

from collections.abc import Iterable
from typing import Any, ClassVar
from uuid import UUID

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from clinic.api.differences import DifferenceRecord
from clinic.api.documents import DIGEST, ErrorRecord, VersionRecord, allow_references
from clinic.api.examples import example
from clinic.api.fields import Day, Id, Instant, Pattern, StrictInput, Text, Whole, word
from clinic.api.precautions import properties
from clinic.api.views import ApiView, ListDoor, PutDoor
from clinic.enums import DocumentKind, DocumentState
from clinic.rules.access import Action
from clinic.selectors import documents as record
from clinic.services import pins, version_openings
from goals.api.measurement_form import MEASURED, Measurements
from scheduling.selectors import notes as selectors
from scheduling.selectors.versions import difference_of, turnaround_of
from scheduling.services import notes as services

LONGEST = 20_000
GOAL = "0198a1f0-0000-7000-8000-0000000000e1"
BODY = {
    "participation": "0198a1f0-0000-7000-8000-0000000000b1",
    "subjective": "Mother reports that dressing went faster this week.",
    "objective": "Buttoned a vest at the table, seated.",
    "assessment": "",
    "plan": "Go on with the large buttons.",
    "activities": [{"name": "Vest on a stand", "minutes": 15}],
    "minutes": 45,
    "timed_minutes": 45,
    "measurements": [{"goal": GOAL, "successes": 7, "opportunities": 10}],
}
EACH_KIND = {
    shown: {"participation": BODY["participation"], "measurements": [numbers]} for shown, numbers in MEASURED.items()
}
CORRECTION = {
    "amends": "0198a1f0-0000-7000-8000-0000000000d1",
    "text": "The child fastened six of the ten buttons, not seven.",
    "measurements": [
        {"goal": GOAL, "successes": 6, "opportunities": 10, "replaces": "0198a1f0-0000-7000-8000-0000000000e9"}
    ],
}


class Section(Text):
    """A section of a note: lines of text, or nothing yet."""

    def __init__(self, **options: Any) -> None:
        super().__init__(multiline=True, max_length=LONGEST, allow_blank=True, required=False, **options)


class ActivityIn(StrictInput):
    """What was done in the visit."""

    name = Text(max_length=200)
    minutes = Whole(min_value=0, max_value=720, required=False)
    response = Text(max_length=2000, multiline=True, required=False, allow_blank=True)
    properties = properties(required=False, help_text="What it asks of the child, in the words of precautions")


@example(BODY, further=EACH_KIND)
class NoteIn(StrictInput):
    """A note as its author writes it. Numbers are whole; other values stand as strings."""

    participation = Id()
    subjective = Section()
    objective = Section()
    assessment = Section()
    plan = Section()
    activities = ActivityIn(many=True, required=False, max_length=50)  # type: ignore[call-arg]
    minutes = Whole(min_value=0, max_value=720, required=False, help_text="Total treatment minutes")
    timed_minutes = Whole(min_value=0, max_value=720, required=False, help_text="Minutes of timed services")
    measurements = Measurements()

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs.get("timed_minutes", 0) > attrs.get("minutes", 720):
            raise serializers.ValidationError(
                {
                    "timed_minutes": [
                        serializers.ErrorDetail("Timed minutes are part of the total", code="more_than_total")
                    ]
                }
            )
        return attrs


@example(
    {"amends": "0198a1f0-0000-7000-8000-0000000000d1", "text": "The second trial was with the left hand."},
    further={"with a corrected measurement": CORRECTION},
)
class AddendumIn(StrictInput):
    """A later addition to a final note; a measurement may name the one that it `replaces`."""

    amends = Id()
    text = Text(multiline=True, max_length=LONGEST)
    measurements = Measurements()


class Pin(Pattern):
    """The signing PIN; it is never stored with a request."""

    def __init__(self, **options: Any) -> None:
        super().__init__(r"^[0-9]{4,20}\Z", max_length=20, **options)


@example({"pin": "580213"})
class SignIn(StrictInput):
    """The author's signing PIN."""

    pin = Pin()


@example({"pin": "580213", "digest": DIGEST})
class CosignIn(StrictInput):
    """The supervisor's PIN and the digest of the version that she read."""

    pin = Pin()
    digest = Pattern(r"^[0-9a-f]{64}\Z", max_length=64)


@example({"pin": "580213", "digest": DIGEST, "reason": "Which prompts were given?"})
class ReturnIn(CosignIn):
    """As for co-signing, with the reason for which the note goes back."""

    reason = Text(multiline=True, max_length=2000)


class NoteRecord(serializers.Serializer):
    """A note or an addendum: its state, its current signed version, and to its author also the draft."""

    id = serializers.UUIDField()
    version = serializers.IntegerField()
    kind = serializers.ChoiceField(choices=[kind.value for kind in DocumentKind])
    state = serializers.ChoiceField(choices=[state.value for state in DocumentState])
    participation = serializers.SerializerMethodField()
    visit = serializers.SerializerMethodField()
    amends = serializers.UUIDField(source="amends_id", allow_null=True)
    client = serializers.UUIDField(source="client_id")
    episode = serializers.UUIDField(source="episode_id")
    author = serializers.UUIDField(source="author_id")
    service_date = serializers.DateField()
    requires_cosignature = serializers.BooleanField()
    cosign_owner = serializers.UUIDField(source="cosign_owner_id", allow_null=True)
    cosign_due_at = Instant(allow_null=True)
    changed_at = Instant()
    draft = serializers.SerializerMethodField()
    current = VersionRecord(source="current_version", allow_null=True)
    entered_in_error = serializers.SerializerMethodField()

    def to_representation(self, note: Any) -> Any:
        if note.error is not None and note.current_version is not None:
            selectors.withhold(self.context["view"].actor, note, [note.current_version])
        return super().to_representation(note)

    def get_participation(self, note: Any) -> UUID | None:
        link = getattr(note, "participation_note", None)
        return link.participation_id if link else None

    def get_visit(self, note: Any) -> UUID | None:
        link = getattr(note, "participation_note", None)
        return link.participation.visit_id if link else None

    def get_draft(self, note: Any) -> dict[str, Any] | None:
        return note.draft if note.author_id == self.context["view"].actor.staff_id else None

    @extend_schema_field(ErrorRecord(allow_null=True))
    def get_entered_in_error(self, note: Any) -> dict[str, Any] | None:
        return ErrorRecord(note.error).data if note.error else None


class NoteWhole(NoteRecord):
    """A note or an addendum by itself, with what its author changed since the version before."""

    difference = serializers.SerializerMethodField()
    turnaround_days = serializers.SerializerMethodField(
        help_text="Local calendar days from the first signature to the co-signature"
    )

    @extend_schema_field(DifferenceRecord(allow_null=True))
    def get_difference(self, note: Any) -> dict[str, Any] | None:
        found = difference_of(note)
        return DifferenceRecord(found).data if found else None

    def get_turnaround_days(self, note: Any) -> int | None:
        return turnaround_of(note)


class NoteFilters(StrictInput):
    """Which notes."""

    client = Id(required=False)
    episode = Id(required=False)
    author = Id(required=False)
    state = word(DocumentState, required=False)
    service_date_from = Day(required=False)
    service_date_until = Day(required=False)


FILTERED = {
    "client": "client_id",
    "episode": "episode_id",
    "author": "author_id",
    "state": "state",
    "service_date_from": "service_date__gte",
    "service_date_until": "service_date__lte",
}


def told_of(rows: Iterable[Any]) -> list[Any]:
    """The versions that stand, of rows that have one."""
    return [row.current_version for row in rows if row.current_version_id is not None]


def keep_openings(door: ApiView, note: Any, versions: Iterable[Any]) -> None:
    """Keep that a possible co-signer fetches these versions whole, as far as one of them waits."""
    for version in versions:
        version_openings.keep_opening(
            actor=door.actor, document=note, version=version, flags_shown=len(version.flags.all()), now=door.now
        )


class NoteList(ListDoor):
    """Notes in your reach, latest service date first."""

    resource = "notes"
    kind: ClassVar[DocumentKind] = DocumentKind.VISIT_NOTE
    actions = {"GET": Action.SEE_NOTES}
    outputs = {"GET": NoteRecord}
    filters = NoteFilters
    order = ("-service_date", "-id")

    def rows(self, asked: dict[str, Any]) -> Any:
        chosen = {FILTERED[name]: value for name, value in asked.items()}
        return selectors.notes_for(self.actor, kind=self.kind).filter(**chosen)

    def touch_rows(self, rows: Any) -> None:
        super().touch_rows(rows)
        allow_references(self, told_of(rows))


class AddendumList(NoteList):
    """Addenda in your reach, latest service date first."""

    resource = "addenda"
    kind = DocumentKind.ADDENDUM


class NoteDoor(PutDoor):
    """GET and PUT of a note."""

    resource = "notes"
    kind: ClassVar[DocumentKind] = DocumentKind.VISIT_NOTE
    actions = {"GET": Action.SEE_NOTES, "PUT": Action.WRITE_NOTES}
    queued = ("PUT",)
    inputs = {"PUT": NoteIn}
    observes: ClassVar[tuple[str, ...]] = ("PUT",)
    outputs = {"GET": NoteWhole, "PUT": NoteWhole}
    told_as = {
        "GET": "One note",
        "PUT": """Write a note, or change a draft or a returned one

        Measurements are judged at once; nothing counts before the note is signed. A second note of yours for the
        same part of a visit answers 409 with `existing_id`.""",
    }
    form: ClassVar[type[serializers.Serializer]] = NoteIn

    def put(self, request: Request, id: UUID) -> Response:
        try:
            return super().put(request, id)
        except services.NoteExists as refusal:
            # Of two devices in the same instant one was refused by the table, and can now see the other's note.
            if "existing_id" not in refusal.facts:
                part = UUID(self.body()["participation"])
                refusal.facts["existing_id"] = str(selectors.her_note_of(self.actor, part))
            raise

    def body(self) -> dict[str, Any]:
        """What the author sent, as she sent it; the form has judged it."""
        return dict(self.request.data)

    def find(self, row_id: UUID) -> Any:
        return selectors.note_for(self.actor, row_id, kind=self.kind)

    def find_for_change(self, row_id: UUID) -> Any:
        return selectors.note_to_change(self.actor, row_id, kind=self.kind)

    def exists(self, row_id: UUID) -> bool:
        return record.document_exists(row_id)

    def create(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> Any:
        return services.begin_note(
            actor=self.actor,
            note_id=row_id,
            body=self.body(),
            digest=digest,
            now=self.now,
            device_offset=self.device_offset(),
        )

    def replace(self, row: Any, wanted: dict[str, Any]) -> Any:
        return services.revise_note(
            actor=self.actor, note=row, body=self.body(), now=self.now, device_offset=self.device_offset()
        )

    def represent(self, row: Any) -> Any:
        """A row that was found for reading, or has no version yet, is whole; another is read again."""
        whole = self.request.method == "GET" or row.current_version_id is None
        shown = row if whole else selectors.note_for(self.actor, row.pk, kind=self.kind)
        allow_references(self, told_of([shown]))
        if self.request.method == "GET":
            keep_openings(self, row, told_of([row]))
        return NoteWhole(shown, context={"view": self}).data


class AddendumDoor(NoteDoor):
    """GET and PUT of an addendum."""

    resource = "addenda"
    kind = DocumentKind.ADDENDUM
    inputs = {"PUT": AddendumIn}
    observes = ()
    told_as = {
        "GET": "One addendum",
        "PUT": """Write an addendum to a final note of yours, or change its draft

        A measurement that names the one it `replaces`, of the note or of an earlier addendum to it, counts in its place
        once the addendum is signed; the old value stays in the record. Of several corrections of a number, all of which
        are shown to replace the first one, the last that stands counts.""",
    }
    form = AddendumIn

    def create(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> Any:
        return services.begin_addendum(
            actor=self.actor, addendum_id=row_id, body=self.body(), digest=digest, now=self.now
        )

    def replace(self, row: Any, wanted: dict[str, Any]) -> Any:
        return services.revise_addendum(actor=self.actor, addendum=row, body=self.body(), now=self.now)


class NoteAct(ApiView):
    """An act on a note under the signer's PIN; it needs an Idempotency-Key."""

    resource = "notes"
    kind: ClassVar[DocumentKind] = DocumentKind.VISIT_NOTE
    outputs = {"POST": NoteRecord}
    form: ClassVar[type[serializers.Serializer]] = SignIn
    key_required = True

    def post(self, request: Request, id: UUID) -> Response:
        wanted = self.read(self.form)
        # The PIN is asked first and its misses are counted in a transaction of their own.
        selectors.require_note(self.actor, id, kind=self.kind)
        proof = pins.prove(actor=self.actor, pin=wanted.pop("pin"), now=self.now)
        return self.write(lambda: self._act(id, wanted, proof))

    def _act(self, note_id: UUID, wanted: dict[str, Any], proof: pins.PinProof) -> Response:
        note = selectors.note_to_change(self.actor, note_id, kind=self.kind)
        self.perform(note, wanted, proof)
        self.touch(note.client_id, note.episode_id)
        shown = self.shown(note)
        allow_references(self, told_of([shown]))
        return self.show(NoteRecord(shown, context={"view": self}).data, version=shown.version)

    def perform(self, note: Any, wanted: dict[str, Any], proof: pins.PinProof) -> None:
        raise NotImplementedError

    def shown(self, note: Any) -> Any:
        return selectors.note_for(self.actor, note.pk, kind=self.kind)

    def present(self) -> Response:
        note = selectors.note_for(self.actor, self.kwargs["id"], kind=self.kind)
        self.touch_row(note)
        return self.show(NoteRecord(note, context={"view": self}).data, version=note.version)

    def ask_reach_again(self, kept: Response) -> None:
        self.touch_row(selectors.note_for(self.actor, self.kwargs["id"], kind=self.kind))


class NoteSign(NoteAct):
    """Sign a note: its content is frozen, its measurements count, progress follows

    Needs If-Match: you sign what you saw."""

    act = "sign"
    actions = {"POST": Action.SIGN_NOTES}
    inputs = {"POST": SignIn}
    changes_version = True

    def perform(self, note: Any, wanted: dict[str, Any], proof: pins.PinProof) -> None:
        self.require_match(note.version)
        services.sign_note(actor=self.actor, note=note, proof=proof, now=self.now)

    def shown(self, note: Any) -> Any:
        return selectors.with_signatures(note)


class NoteCosign(NoteAct):
    """Co-sign the version whose digest you fetched

    By the supervisor of the service date in the narrowest scope, one covering, or a successor."""

    act = "cosign"
    actions = {"POST": Action.COSIGN_NOTES}
    inputs = {"POST": CosignIn}
    form = CosignIn

    def perform(self, note: Any, wanted: dict[str, Any], proof: pins.PinProof) -> None:
        services.cosign(actor=self.actor, document=note, proof=proof, fetched_digest=wanted["digest"], now=self.now)


class NoteReturn(NoteAct):
    """Return the version whose digest you fetched, with a reason

    What was signed stays; its content becomes the draft of the next version."""

    act = "return"
    actions = {"POST": Action.COSIGN_NOTES}
    inputs = {"POST": ReturnIn}
    form = ReturnIn

    def perform(self, note: Any, wanted: dict[str, Any], proof: pins.PinProof) -> None:
        services.send_back(
            actor=self.actor,
            document=note,
            proof=proof,
            fetched_digest=wanted["digest"],
            reason=wanted["reason"],
            now=self.now,
        )


class AddendumSign(NoteSign):
    """Sign an addendum: what it corrects counts from now on

    Needs If-Match: you sign what you saw."""

    resource = "addenda"
    kind = DocumentKind.ADDENDUM

    def perform(self, note: Any, wanted: dict[str, Any], proof: pins.PinProof) -> None:
        self.require_match(note.version)
        services.sign_addendum(actor=self.actor, addendum=note, proof=proof, now=self.now)


class AddendumCosign(NoteCosign):
    """Co-sign an addendum whose digest you fetched."""

    resource = "addenda"
    kind = DocumentKind.ADDENDUM


class AddendumReturn(NoteReturn):
    """Return an addendum whose digest you fetched, with a reason."""

    resource = "addenda"
    kind = DocumentKind.ADDENDUM


class NoteVersions(ListDoor):
    """The signed versions of a note, first to last."""

    resource = "notes"
    act = "versions"
    actions = {"GET": Action.SEE_NOTES}
    outputs = {"GET": VersionRecord}
    order = ("number", "id")

    def rows(self, asked: dict[str, Any]) -> Any:
        self.note = selectors.note_for(self.actor, self.kwargs["id"], kind=DocumentKind.VISIT_NOTE)
        self.touch(self.note.client_id, self.note.episode_id)
        return record.versions_of(self.note)

    def touch_rows(self, rows: Any) -> None:
        """Touched already: they are one note's. That the waiting one was fetched is kept."""
        allow_references(self, rows)
        selectors.withhold(self.actor, self.note, rows)
        if self.request.method == "GET":
            keep_openings(self, self.note, rows)
