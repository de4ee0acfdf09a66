"""Doors to what you were told."""

from typing import Any
from uuid import UUID

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from clinic.api.examples import example
from clinic.api.fields import QueryFlag, StrictInput, word
from clinic.api.views import ApiView, ListDoor
from clinic.enums import NoticeKind
from clinic.models import Notice
from clinic.rules.access import Action
from clinic.selectors import notices as selectors
from clinic.selectors.rows import one
from clinic.services import notices as services


@example(
    {
        "id": "0198a1f0-0000-7000-8000-0000000000f1",
        "kind": "pin_reset",
        "subject_kind": "staff",
        "subject": "0198a1f0-0000-7000-8000-0000000000a1",
        "at": "2026-03-03T18:00:00Z",
        "read_at": None,
    }
)
class NoticeRecord(serializers.Serializer):
    """One thing that you were told. It names a row, never a person or what is written there."""

    id = serializers.UUIDField()
    kind = word(NoticeKind)
    subject_kind = serializers.CharField(help_text="What the row is, like episode or staff")
    subject = serializers.UUIDField(source="subject_id")
    at = serializers.DateTimeField()
    read_at = serializers.DateTimeField(allow_null=True)


@example({})
class ReadingIn(StrictInput):
    """Nothing more is said."""


@example({"unread": True})
class NoticeFilter(StrictInput):
    unread = QueryFlag(required=False)


class NoticeList(ListDoor):
    """What you were told, newest first."""

    resource = "notices"
    actions = {"GET": Action.SEE_NOTICES}
    outputs = {"GET": NoticeRecord}
    filters = NoticeFilter
    order = ("-at", "-id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.notices_for(self.actor, **asked)


class ReadNotice(ApiView):
    """Say that you have read it; what was read stays read."""

    resource = "notices"
    act = "read"
    queued = ("POST",)
    actions = {"POST": Action.READ_NOTICES}
    inputs = {"POST": ReadingIn}
    outputs = {"POST": NoticeRecord}

    def post(self, request: Request, id: UUID) -> Response:
        self.read(ReadingIn)
        return self.write(lambda: self._mark(id))

    def ask_reach_again(self, kept: Response) -> None:
        self._find(self.kwargs["id"])

    def _find(self, notice_id: UUID, *, lock: bool = False) -> Notice:
        return one(selectors.notices_for(self.actor, Action.READ_NOTICES), notice_id, lock=lock)

    def _mark(self, notice_id: UUID) -> Response:
        return self.show(NoticeRecord(services.mark_read(notice=self._find(notice_id, lock=True), now=self.now)).data)
