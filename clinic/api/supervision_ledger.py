"""The door to the days on which nobody answered for an assistant."""

from typing import Any
from uuid import UUID

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from clinic.api.examples import example
from clinic.api.fields import Day, Id, StrictInput
from clinic.api.views import ApiView
from clinic.models import Episode
from clinic.rules.access import Action
from clinic.selectors.episodes import episode_for
from clinic.selectors.staff import staff_member_for
from clinic.selectors.supervision_ledger import ledger_of

MOST_DAYS = 366


@example({"starts_on": "2026-03-01", "ends_on": "2026-03-31"})
class LedgerFilter(StrictInput):
    """From which day to which, both included; in one episode, if it is named."""

    starts_on = Day()
    ends_on = Day()
    episode = Id(required=False, help_text="Count assignments that reach this episode only")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        length = (attrs["ends_on"] - attrs["starts_on"]).days + 1
        if not 1 <= length <= MOST_DAYS:
            raise serializers.ValidationError({"ends_on": [f"From 1 to {MOST_DAYS} days"]}, code="out_of_range")
        return attrs


@example(
    {
        "assistant": "0198a1f0-0000-7000-8000-0000000000a1",
        "starts_on": "2026-03-01",
        "ends_on": "2026-03-31",
        "unassigned_days": ["2026-03-16", "2026-03-17"],
        "sentence": "2 days without an assignment",
    }
)
class LedgerRecord(serializers.Serializer):
    """The days on which she worked as an assistant and nobody was assigned to supervise her."""

    assistant = serializers.UUIDField(source="assistant.pk")
    starts_on = serializers.DateField()
    ends_on = serializers.DateField()
    unassigned_days = serializers.ListField(child=serializers.DateField())
    sentence = serializers.CharField()


class SupervisionLedger(ApiView):
    """The days on which nobody was assigned to supervise an assistant

    What she did on them is documented, signed and flagged all the same; it waits on the administrator's list."""

    resource = "staff"
    act = "supervision_ledger"
    actions = {"GET": Action.SEE_SUPERVISION}
    outputs = {"GET": LedgerRecord}
    filters = LedgerFilter

    def get(self, request: Request, id: UUID) -> Response:
        asked = self.asked()
        assistant = staff_member_for(self.actor, id, Action.SEE_SUPERVISION)
        episode: Episode | None = None
        if "episode" in asked:
            episode = episode_for(self.actor, asked["episode"])
            self.touch(episode.client_id, episode.pk)
        found = ledger_of(assistant, asked["starts_on"], asked["ends_on"], episode=episode)
        return self.show(LedgerRecord(found).data)
