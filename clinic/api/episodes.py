"""Doors to episodes of care and their steps."""

from typing import Any, ClassVar
from uuid import UUID

from rest_framework import serializers

from clinic.api.examples import example
from clinic.api.fields import Day, Id, StrictInput, Text, jurisdiction, word
from clinic.api.periods import not_in_the_future
from clinic.api.views import ActDoor, ChangeDoor, ListDoor, RowDoor
from clinic.enums import Discipline, EpisodeStatus, RecordRegime, Setting
from clinic.models import Episode
from clinic.rules.access import Action
from clinic.rules.episodes import EpisodeAct
from clinic.selectors import episodes as selectors
from clinic.services import episodes as services

PLANNED = {
    "client": "0198a1f0-0000-7000-8000-0000000000c1",
    "site": "0198a1f0-0000-7000-8000-000000000001",
    "setting": "outpatient",
    "jurisdiction": "US-IL",
    "payer": "County children's fund",
    "referred_on": "2026-02-16",
    "consented_on": "2026-02-20",
}


@example({"payer": "Family", "consented_on": "2026-02-20"})
class EpisodeChangeIn(StrictInput):
    """The members that may change; those left out stay as they are."""

    payer = Text(required=False, allow_blank=True)
    referred_on = Day(required=False, allow_null=True)
    consented_on = Day(required=False, allow_null=True)

    def validate_referred_on(self, day: Any) -> Any:
        return not_in_the_future(self, day)

    def validate_consented_on(self, day: Any) -> Any:
        return not_in_the_future(self, day)


@example(PLANNED)
class EpisodeIn(EpisodeChangeIn):
    """A planned episode. Its setting decides the record: an education record in a school, else a health record."""

    client = Id()
    site = Id()
    setting = word(Setting)
    discipline = word(Discipline, required=False)
    jurisdiction = jurisdiction()


@example(
    {
        "id": "0198a1f0-0000-7000-8000-0000000000e1",
        "version": 2,
        **PLANNED,
        "discipline": "occupational_therapy",
        "record_regime": "health_record",
        "status": "active",
        "opened_on": "2026-02-24",
        "closed_on": None,
    }
)
class EpisodeRecord(serializers.Serializer):
    """One child's service in one setting."""

    id = serializers.UUIDField()
    version = serializers.IntegerField()
    client = serializers.UUIDField(source="client_id")
    site = serializers.UUIDField(source="site_id")
    setting = word(Setting)
    discipline = word(Discipline)
    jurisdiction = serializers.CharField()
    record_regime = word(RecordRegime)
    payer = serializers.CharField()
    status = word(EpisodeStatus)
    referred_on = serializers.DateField(allow_null=True)
    consented_on = serializers.DateField(allow_null=True)
    opened_on = serializers.DateField(allow_null=True)
    closed_on = serializers.DateField(allow_null=True)


@example({"client": "0198a1f0-0000-7000-8000-0000000000c1", "status": "active"})
class EpisodeFilter(StrictInput):
    client = Id(required=False)
    status = word(EpisodeStatus, required=False)
    setting = word(Setting, required=False)


@example({"on": "2026-02-24"})
class EpisodeStepIn(StrictInput):
    """The day from which it holds."""

    on = Day()


@example({"on": "2026-06-01", "reason": "The family is abroad until August"})
class EpisodeStepWithReasonIn(EpisodeStepIn):
    """The day from which it holds, and why."""

    reason = Text(max_length=500)


class EpisodeRow(RowDoor):
    resource = "episodes"

    def find(self, row_id: UUID) -> Episode:
        return selectors.episode_for(self.actor, row_id)

    def find_for_change(self, row_id: UUID) -> Episode:
        return selectors.episode_for(self.actor, row_id, Action.CHANGE_EPISODES, lock=True)

    def touch_row(self, row: Episode) -> None:
        self.touch(row.client_id, row.pk)


class EpisodeList(ListDoor):
    """The episodes of care in your reach."""

    resource = "episodes"
    actions = {"GET": Action.SEE_EPISODES}
    outputs = {"GET": EpisodeRecord}
    filters = EpisodeFilter

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.episodes_for(self.actor, **asked)

    def touch_row(self, row: Episode) -> None:
        self.touch(row.client_id, row.pk)


class EpisodeDetail(EpisodeRow, ChangeDoor):
    """One episode of care."""

    actions = {"GET": Action.SEE_EPISODES, "PUT": Action.CHANGE_EPISODES, "PATCH": Action.CHANGE_EPISODES}
    inputs = {"PUT": EpisodeIn, "PATCH": EpisodeChangeIn}
    outputs = {"GET": EpisodeRecord, "PUT": EpisodeRecord, "PATCH": EpisodeRecord}
    told_as = {
        "GET": "One episode of care",
        "PUT": "Plan an episode of care.\n\nThe setting decides under which law the record is kept: an education "
        "record in a school, a health record everywhere else. Whoever plans it without being an administrator "
        "stands on its care team from today.",
        "PATCH": "Change an episode's payer, or its days of referral and consent",
    }
    form = EpisodeIn
    change_form = EpisodeChangeIn

    def exists(self, row_id: UUID) -> bool:
        return selectors.episode_exists(row_id)

    def create(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> Episode:
        return services.plan_episode(actor=self.actor, episode_id=row_id, digest=digest, now=self.now, **wanted)

    def change(self, row: Episode, wanted: dict[str, Any]) -> Episode:
        return services.change_episode(actor=self.actor, episode=row, **wanted)


class EpisodeStep(EpisodeRow, ActDoor):
    """A step of an episode's status."""

    step: ClassVar[EpisodeAct]
    actions = {"POST": Action.CHANGE_EPISODES}
    inputs = {"POST": EpisodeStepWithReasonIn}
    outputs = {"POST": EpisodeRecord}

    def perform(self, row: Episode, wanted: dict[str, Any]) -> Episode:
        return services.move_episode(actor=self.actor, episode=row, act=self.step, now=self.now, **wanted)


class OpenEpisode(EpisodeStep):
    """Open a planned episode, from the day on which care begins."""

    act = "open"
    step = EpisodeAct.OPEN
    inputs = {"POST": EpisodeStepIn}


class HoldEpisode(EpisodeStep):
    """Put an active episode on hold. A hold stops no clock of itself: the rules say which."""

    act = "hold"
    step = EpisodeAct.HOLD


class ResumeEpisode(EpisodeStep):
    """Take up an episode that is on hold."""

    act = "resume"
    step = EpisodeAct.RESUME
    inputs = {"POST": EpisodeStepIn}


class DischargeEpisode(EpisodeStep):
    """Discharge: the episode ends with this day. What is still to be written and signed stays to be done."""

    act = "discharge"
    step = EpisodeAct.DISCHARGE


class CancelEpisode(EpisodeStep):
    """Cancel a planned episode that never began."""

    act = "cancel"
    step = EpisodeAct.CANCEL
