"""Doors to goals: proposing one, wording it anew, and the acts of its course."""

from typing import Any, ClassVar
from uuid import UUID

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from clinic.api.examples import example
from clinic.api.fields import Day, Id, StrictInput, Text, word
from clinic.api.views import ActDoor, ChangeDoor, ListDoor
from clinic.rules.access import Action
from goals.api.measures import (
    CRITERION,
    MEASURE,
    CriterionIn,
    Measure,
    MeasureIn,
    Phase,
    component_shown,
    measure_shown,
)
from goals.api.sample_goals import SAMPLES
from goals.enums import Achievement, Direction, Lifecycle, PhaseKind, Purpose
from goals.models import Goal
from goals.rules.lifecycle import GoalAct, allowed_acts
from goals.selectors import goals as selectors
from goals.services import goals as services

EPISODE = "0198a1f0-0000-7000-8000-0000000000e1"
WORDS = "Fastens four vest buttons within two minutes"
GOAL = {
    "episode": EPISODE,
    "text": WORDS,
    "purpose": "improve",
    "direction": "increase",
    "measure": MEASURE,
    "components": [{"kind": "duration", "unit": "s"}],
    "baseline_starts_on": "2026-02-24",
    "intervention_starts_on": "2026-03-03",
    "criterion": CRITERION,
    "due_on": "2026-06-30",
}


@example(GOAL, further={shown: sample.body(EPISODE) for shown, sample in SAMPLES.items()})
class GoalIn(StrictInput):
    """A goal proposed under an id that the device made; the episode gives it its number."""

    episode = Id()
    parent = Id(required=False, allow_null=True)  # type: ignore[assignment]
    text = Text(max_length=2000, multiline=True)
    purpose = word(Purpose)
    direction = word(Direction)
    measure = MeasureIn()
    components = serializers.ListField(child=MeasureIn(), max_length=3, required=False)
    baseline_starts_on = Day(required=False, allow_null=True)
    intervention_starts_on = Day()
    criterion = CriterionIn()
    due_on = Day(required=False, allow_null=True)


@example({"text": WORDS, "due_on": "2026-07-31"})
class GoalChangeIn(StrictInput):
    """The words or the due day; what is counted never changes, and phases revise a criterion."""

    text = Text(max_length=2000, multiline=True, required=False)
    due_on = Day(required=False, allow_null=True)


@example({"on": "2026-03-03", "reason": "Agreed with the family"})
class GoalActIn(StrictInput):
    """From which day the step holds (today, if it is left out), and why."""

    on = Day(required=False)
    reason = Text(max_length=500, required=False)


@example({"reason": "The family chose another goal"})
class GoalCancelIn(GoalActIn):
    """Why the goal is given up, and from which day."""

    reason = Text(max_length=500)


@example({"status": "improving", "on": "2026-03-31", "reason": "Two more buttons in a month"})
class GoalAchievementIn(StrictInput):
    """The therapist's own word on how far the goal is achieved."""

    status = word(Achievement)
    on = Day(required=False)
    reason = Text(max_length=500, required=False)


@example({"kind": "intervention", "starts_on": "2026-04-07", "criterion": CRITERION})
class GoalPhaseIn(StrictInput):
    """A revised criterion, from a day on."""

    kind = word([PhaseKind.INTERVENTION, PhaseKind.MAINTENANCE])
    starts_on = Day()
    criterion = CriterionIn()


class GoalRecord(serializers.Serializer):
    """A goal with its phases and criteria; its number in the episode is never another's."""

    id = serializers.UUIDField()
    version = serializers.IntegerField()
    episode = serializers.UUIDField(source="episode_id")
    client = serializers.UUIDField(source="client_id")
    number = serializers.IntegerField()
    parent = serializers.UUIDField(source="parent_id", allow_null=True)  # type: ignore[assignment]
    text = serializers.CharField()
    purpose = serializers.ChoiceField(choices=[each.value for each in Purpose])
    direction = serializers.ChoiceField(choices=[each.value for each in Direction])
    measure = serializers.SerializerMethodField()
    components = serializers.SerializerMethodField()
    lifecycle = serializers.ChoiceField(choices=[each.value for each in Lifecycle])
    allowed_actions = serializers.SerializerMethodField()
    achievement = serializers.ChoiceField(choices=[each.value for each in Achievement], allow_null=True)
    starts_on = serializers.DateField(allow_null=True)
    due_on = serializers.DateField(allow_null=True)
    phases = Phase(many=True)
    proposed_by = serializers.UUIDField(source="proposed_by_id")

    @extend_schema_field(Measure)
    def get_measure(self, row: Goal) -> Any:
        return Measure(measure_shown(row)).data

    @extend_schema_field(Measure(many=True))
    def get_components(self, row: Goal) -> Any:
        return Measure([component_shown(stored) for stored in row.components], many=True).data

    def get_allowed_actions(self, row: Goal) -> list[str]:
        return [act.value for act in allowed_acts(Lifecycle(row.lifecycle))]


class GoalChangeRecord(serializers.Serializer):
    """One step of a goal's lifecycle, or of the therapist's word on its achievement."""

    id = serializers.UUIDField()
    kind = serializers.CharField()
    from_status = serializers.CharField()
    to_status = serializers.CharField()
    effective_on = serializers.DateField()
    at = serializers.DateTimeField()
    by = serializers.UUIDField(source="by_id")
    reason = serializers.CharField()


class GoalFilters(StrictInput):
    """Which goals."""

    episode = Id(required=False)
    client = Id(required=False)
    lifecycle = word(Lifecycle, required=False)


class GoalList(ListDoor):
    """The goals in your reach."""

    resource = "goals"
    actions = {"GET": Action.SEE_GOALS}
    outputs = {"GET": GoalRecord}
    filters = GoalFilters
    order = ("episode_id", "number", "id")

    def rows(self, asked: dict[str, Any]) -> Any:
        return selectors.goals_for(self.actor).filter(**asked)


class GoalDetail(ChangeDoor):
    """One goal."""

    resource = "goals"
    actions = {"GET": Action.SEE_GOALS, "PUT": Action.PROPOSE_GOALS, "PATCH": Action.PROPOSE_GOALS}
    queued = ("PUT", "PATCH")
    inputs = {"PUT": GoalIn, "PATCH": GoalChangeIn}
    outputs = {"GET": GoalRecord, "PUT": GoalRecord, "PATCH": GoalRecord}
    told_as = {
        "GET": "One goal",
        "PUT": "Propose a goal, or word it anew",
        "PATCH": "Change a goal's words or its due day",
    }
    form = GoalIn
    change_form = GoalChangeIn

    def find(self, row_id: UUID) -> Goal:
        return selectors.goal_for(self.actor, row_id)

    def find_for_change(self, row_id: UUID) -> Goal:
        return selectors.goal_for(self.actor, row_id, Action.PROPOSE_GOALS, lock=True)

    def exists(self, row_id: UUID) -> bool:
        return selectors.goal_exists(row_id)

    def create(self, row_id: UUID, wanted: dict[str, Any], digest: str) -> Goal:
        return services.propose_goal(actor=self.actor, goal_id=row_id, digest=digest, now=self.now, **wanted)

    def replace(self, row: Goal, wanted: dict[str, Any]) -> Goal:
        services.require_same_definition(actor=self.actor, goal=row, wanted=wanted)
        return self.change(row, {"text": wanted["text"], "due_on": wanted.get("due_on")})

    def change(self, row: Goal, wanted: dict[str, Any]) -> Goal:
        return services.reword_goal(actor=self.actor, goal=row, **wanted)


class GoalActDoor(ActDoor):
    """One step of a goal's lifecycle; the therapist's."""

    resource = "goals"
    actions = {"POST": Action.WRITE_GOALS}
    inputs: ClassVar[dict[str, type[serializers.Serializer]]] = {"POST": GoalActIn}
    outputs = {"POST": GoalRecord}

    def find(self, row_id: UUID) -> Goal:
        return selectors.goal_for(self.actor, row_id, Action.WRITE_GOALS)

    def find_for_change(self, row_id: UUID) -> Goal:
        return selectors.goal_for(self.actor, row_id, Action.WRITE_GOALS, lock=True)

    def perform(self, row: Goal, wanted: dict[str, Any]) -> Goal:
        return services.act_on_goal(actor=self.actor, goal=row, act=GoalAct(self.act), now=self.now, **wanted)


class GoalAccept(GoalActDoor):
    """Accept a proposed goal."""

    act = "accept"


class GoalActivate(GoalActDoor):
    """Begin to work on an accepted goal, from a day on."""

    act = "activate"


class GoalHold(GoalActDoor):
    """Put an active goal on hold."""

    act = "hold"


class GoalResume(GoalActDoor):
    """Take up a goal that was on hold."""

    act = "resume"


class GoalComplete(GoalActDoor):
    """End the work on a goal."""

    act = "complete"


class GoalCancel(GoalActDoor):
    """Give a goal up, with the reason."""

    act = "cancel"
    inputs = {"POST": GoalCancelIn}


class GoalAchievement(GoalActDoor):
    """State the therapist's own word on how far a goal is achieved."""

    act = "state_achievement"
    inputs = {"POST": GoalAchievementIn}

    def perform(self, row: Goal, wanted: dict[str, Any]) -> Goal:
        status = Achievement(wanted.pop("status"))
        return services.state_achievement(actor=self.actor, goal=row, status=status, now=self.now, **wanted)


class GoalPhases(GoalActDoor):
    """Revise a goal's criterion from a day on: the phase in course ends the day before."""

    act = "start_phase"
    inputs = {"POST": GoalPhaseIn}

    def perform(self, row: Goal, wanted: dict[str, Any]) -> Goal:
        kind = PhaseKind(wanted.pop("kind"))
        return services.start_phase(actor=self.actor, goal=row, kind=kind, now=self.now, **wanted)


class RowsOfGoal(ListDoor):
    """Rows that hang on one goal in reach."""

    resource = "goals"
    actions = {"GET": Action.SEE_GOALS}

    def rows(self, asked: dict[str, Any]) -> Any:
        self.goal = selectors.goal_for(self.actor, self.kwargs["id"])
        return self.rows_of(self.goal)

    def rows_of(self, goal: Goal) -> Any:
        raise NotImplementedError

    def touch_rows(self, rows: Any) -> None:
        self.touch(self.goal.client_id, self.goal.episode_id)


class GoalChanges(RowsOfGoal):
    """The steps of a goal's course, newest first."""

    resource = "goal_changes"
    outputs = {"GET": GoalChangeRecord}
    order = ("-at", "-id")

    def rows_of(self, goal: Goal) -> Any:
        return selectors.changes_of(goal)
