"""Doors to what the numbers ask a therapist to look at."""

from typing import Any
from uuid import UUID

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from clinic.api.examples import example
from clinic.api.fields import Id, QueryFlag, StrictInput
from clinic.api.views import ApiView, ListDoor
from clinic.rules.access import Action
from goals.models import ReviewItem
from goals.selectors import goals as selectors
from goals.services import review_items as services


class ReviewItemRecord(serializers.Serializer):
    """Something computed that a therapist should look at; withdrawn when it no longer holds."""

    id = serializers.UUIDField()
    goal = serializers.UUIDField(source="goal_id")
    episode = serializers.UUIDField(source="episode_id")
    kind = serializers.CharField()
    opened_at = serializers.DateTimeField()
    withdrawn_at = serializers.DateTimeField(allow_null=True)
    acknowledged_at = serializers.DateTimeField(allow_null=True)
    acknowledged_by = serializers.UUIDField(source="acknowledged_by_id", allow_null=True)


@example({})
class AcknowledgementIn(StrictInput):
    """Nothing more is said."""


class ReviewItemFilters(StrictInput):
    """Which items."""

    open = QueryFlag(required=False)
    episode = Id(required=False)


class ReviewItemList(ListDoor):
    """What the numbers ask you to look at, newest first."""

    resource = "review_items"
    actions = {"GET": Action.SEE_GOALS}
    outputs = {"GET": ReviewItemRecord}
    filters = ReviewItemFilters
    order = ("-opened_at", "-id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.review_items_for(self.actor, **asked)

    def touch_row(self, row: ReviewItem) -> None:
        self.touch(row.goal.client_id, row.episode_id)


class ReviewItemAcknowledge(ApiView):
    """Say that you have looked at it."""

    resource = "review_items"
    act = "acknowledge"
    queued = ("POST",)
    actions = {"POST": Action.WRITE_GOALS}
    inputs = {"POST": AcknowledgementIn}
    outputs = {"POST": ReviewItemRecord}

    def post(self, request: Request, id: UUID) -> Response:
        self.read(AcknowledgementIn)
        return self.write(lambda: self._acknowledge(id))

    def ask_reach_again(self, kept: Response) -> None:
        self.touch_row(selectors.review_item_for(self.actor, self.kwargs["id"]))

    def touch_row(self, row: ReviewItem) -> None:
        self.touch(row.goal.client_id, row.episode_id)

    def _acknowledge(self, item_id: UUID) -> Response:
        item = services.acknowledge(
            actor=self.actor, item=selectors.review_item_for(self.actor, item_id, lock=True), now=self.now
        )
        self.touch_row(item)
        return self.show(ReviewItemRecord(item).data)
