"""Doors to care teams."""

from typing import Any
from uuid import UUID

from rest_framework import serializers

from clinic.api.examples import example
from clinic.api.fields import Day, Id, StrictInput, word
from clinic.api.periods import PeriodEndIn, PeriodIn, PeriodRecord
from clinic.api.views import ApiView, ChangeDoor, ListDoor
from clinic.enums import CareRole, CareSource
from clinic.models import CareTeam
from clinic.rules.access import Action
from clinic.selectors import episodes as selectors
from clinic.selectors.rows import one
from clinic.services import care_team as services

PLACE = {
    "episode": "0198a1f0-0000-7000-8000-0000000000e1",
    "staff": "0198a1f0-0000-7000-8000-0000000000a1",
    "role": "treating",
    "starts_on": "2026-02-24",
    "ends_on": None,
}


@example(PLACE)
class CareTeamIn(PeriodIn):
    """An assistant's or a therapist's place on a care team."""

    episode = Id()
    staff = Id()
    role = word(CareRole, required=False)


@example({"id": "0198a1f0-0000-7000-8000-0000000000f1", "version": 1, **PLACE, "source": "assigned"})
class CareTeamRecord(PeriodRecord):
    """A place on a care team, and what put her there."""

    episode = serializers.UUIDField(source="episode_id")
    staff = serializers.UUIDField(source="staff_id")
    role = word(CareRole)
    source = word(CareSource)  # type: ignore[assignment]


@example({"episode": "0198a1f0-0000-7000-8000-0000000000e1", "on": "2026-03-03"})
class CareTeamFilter(StrictInput):
    episode = Id(required=False)
    staff = Id(required=False)
    on = Day(required=False)


class CareTeamDoor(ApiView):
    resource = "care_team"

    def touch_row(self, row: CareTeam) -> None:
        self.touch(row.episode.client_id, row.episode_id)


class CareTeamList(CareTeamDoor, ListDoor):
    """Who treats in the episodes in your reach, on a day or ever."""

    actions = {"GET": Action.SEE_EPISODES}
    outputs = {"GET": CareTeamRecord}
    filters = CareTeamFilter
    order = ("-starts_on", "-id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.care_team_for(self.actor, **asked)


class CareTeamDetail(CareTeamDoor, ChangeDoor):
    """One place on a care team."""

    actions = {"GET": Action.SEE_EPISODES, "PUT": Action.CHANGE_CARE_TEAM, "PATCH": Action.CHANGE_CARE_TEAM}
    inputs = {"PUT": CareTeamIn, "PATCH": PeriodEndIn}
    outputs = {"GET": CareTeamRecord, "PUT": CareTeamRecord, "PATCH": CareTeamRecord}
    told_as = {
        "GET": "One place on a care team",
        "PUT": "Put an assistant or a therapist on a care team.\n\nFrom its first day to its last she reaches the "
        "episode's record; another place of hers on some of these days answers 409.",
        "PATCH": "Set the last day of a place on a care team",
    }
    form = CareTeamIn
    change_form = PeriodEndIn

    def find(self, row_id: UUID) -> CareTeam:
        return one(selectors.care_team_for(self.actor), row_id)

    def find_for_change(self, row_id: UUID) -> CareTeam:
        return one(selectors.care_team_for(self.actor, Action.CHANGE_CARE_TEAM), row_id, lock=True)

    def exists(self, row_id: UUID) -> bool:
        return selectors.care_team_exists(row_id)

    def create(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> CareTeam:
        return services.put_on_team(actor=self.actor, row_id=row_id, digest=digest, now=self.now, **wanted)

    def change(self, row: CareTeam, wanted: dict[str, Any]) -> CareTeam:
        ends_on = wanted.get("ends_on", row.ends_on)
        return services.end_on_team(actor=self.actor, place=row, ends_on=ends_on, now=self.now)
