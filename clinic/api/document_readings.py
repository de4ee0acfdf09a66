"""Doors to reading a document for a stated reason, and to who has done so."""

from typing import Any
from uuid import UUID

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from clinic.api.examples import example
from clinic.api.fields import Id, Instant, StrictInput, Text
from clinic.api.views import ApiView, ListDoor
from clinic.models import DocumentReading
from clinic.rules.access import Action
from clinic.selectors import document_readings as selectors
from clinic.selectors import documents
from clinic.services import document_readings as services

DOCUMENT = "0198a1f0-0000-7000-8000-0000000000d1"
READ = {"reason": "The family asked for an account of the visit of 3 March"}


@example(READ)
class ReadingReasonIn(StrictInput):
    """Why it is read; those concerned see this text."""

    reason = Text(max_length=500)


@example(
    {
        "id": "0198a1f0-0000-7000-8000-0000000000d7",
        "document": DOCUMENT,
        "staff": "0198a1f0-0000-7000-8000-0000000000a9",
        **READ,
        "begun_at": "2026-03-03T18:00:00Z",
        "ends_at": "2026-03-03T19:00:00Z",
    }
)
class DocumentReadingRecord(serializers.Serializer):
    """Who read a document without treating the child, from when until when, and why."""

    id = serializers.UUIDField()
    document = serializers.UUIDField(source="document_id")
    staff = serializers.UUIDField(source="staff_id")
    reason = serializers.CharField()
    begun_at = Instant()
    ends_at = Instant()


@example({"document": DOCUMENT})
class DocumentReadingFilter(StrictInput):
    document = Id(required=False)
    staff = Id(required=False)


class ReadDocument(ApiView):
    """Read a document for a reason that you state.

    For an hour its own doors, like that of a note, show it to you; then it is out of your reach again. Its author, its
    signers and whoever is to co-sign it are told.
    """

    resource = "documents"
    act = "read"
    status = 201
    actions = {"POST": Action.READ_WITH_REASON}
    inputs = {"POST": ReadingReasonIn}
    outputs = {"POST": DocumentReadingRecord}

    def post(self, request: Request, id: UUID) -> Response:
        wanted = self.read(ReadingReasonIn)
        return self.write(lambda: self._read(id, wanted["reason"]))

    def _read(self, document_id: UUID, reason: str) -> Response:
        document = documents.document_for(self.actor, document_id, Action.READ_WITH_REASON)
        self.touch_row(document)
        reading = services.read_with_reason(actor=self.actor, document=document, reason=reason, now=self.now)
        return self.show(DocumentReadingRecord(reading).data, status=201)

    def ask_reach_again(self, kept: Response) -> None:
        self.touch_row(documents.document_for(self.actor, self.kwargs["id"], Action.READ_WITH_REASON))


class DocumentReadingList(ListDoor):
    """Who read documents in your reach for a stated reason, latest first."""

    resource = "document_readings"
    actions = {"GET": Action.SEE_READINGS}
    outputs = {"GET": DocumentReadingRecord}
    filters = DocumentReadingFilter
    order = ("-begun_at", "-id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.readings_for(self.actor, **{f"{name}_id": value for name, value in asked.items()})

    def touch_row(self, row: DocumentReading) -> None:
        self.touch(row.document.client_id, row.document.episode_id)
