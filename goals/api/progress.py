"""Doors to what the numbers of a goal say, what they said before, and the numbers themselves."""

from typing import Any
from uuid import UUID

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from clinic.api.fields import Day, DecimalText, Instant, StrictInput
from clinic.api.views import ApiView
from clinic.enums import Role
from clinic.rules.access import Action
from goals.api.findings import Found, one_word
from goals.api.goals import RowsOfGoal
from goals.enums import Achievement, CriterionState, MeasurementSource, NotMeasuredReason
from goals.models import Goal, GoalProgress, Measurement
from goals.progress.results import Findings
from goals.selectors import goals as selectors
from goals.selectors import measurements
from goals.services import progress

CAUTION = "Offered as information: it informs the therapist's judgement, and decides nothing."
ASSISTANT_CAUTION = "These are facts: take this to your supervisor, whose judgement it informs."


class GoalProgressRecord(serializers.Serializer):
    """A goal's progress as computed, with the therapist's own word beside it."""

    goal = serializers.UUIDField()
    lifecycle = serializers.CharField()
    stated_achievement = one_word(Achievement, allow_null=True)
    computed_at = serializers.DateTimeField()
    caution = serializers.CharField()
    found = Found()


class GoalProgressHistoryRecord(serializers.Serializer):
    """Findings as they once stood."""

    id = serializers.UUIDField()
    number = serializers.IntegerField()
    computed_at = serializers.DateTimeField()
    engine = serializers.CharField()
    input_digest = serializers.CharField()
    visits = serializers.IntegerField()
    last_on = serializers.DateField(allow_null=True)
    last_value = serializers.CharField()
    baseline = serializers.CharField()
    level = serializers.CharField()
    percent = DecimalText(allow_null=True)
    slope_per_week = DecimalText(allow_null=True)
    criterion = one_word(CriterionState, allow_null=True)
    satisfied = serializers.IntegerField(allow_null=True)
    preliminary = serializers.BooleanField()


class MeasurementRecord(serializers.Serializer):
    """One measurement as it was signed, with what was derived from it; `counts` says whether it counts now."""

    id = serializers.UUIDField()
    document = serializers.UUIDField(source="document_id")
    version_number = serializers.IntegerField(source="version.number")
    counts = serializers.SerializerMethodField()
    replaces = serializers.UUIDField(source="replaces_id", allow_null=True)
    slot = serializers.IntegerField()
    service_date = serializers.DateField()
    observed_from = serializers.DateTimeField(allow_null=True)
    observed_until = serializers.DateTimeField(allow_null=True)
    setting = serializers.CharField()
    source = one_word(MeasurementSource)  # type: ignore[assignment]
    observer = serializers.CharField()
    partner = serializers.CharField()
    not_measured = one_word(NotMeasuredReason, allow_null=True)
    measured = serializers.DictField(source="trials", help_text="Trials, tally, counts or value, as they were sent")
    successes = serializers.IntegerField(allow_null=True)
    counted = serializers.IntegerField(allow_null=True)
    value = DecimalText(allow_null=True)
    censored = serializers.CharField(allow_null=True)
    recorded_at = serializers.DateTimeField()

    def get_counts(self, row: Measurement) -> bool:
        return measurements.counts_now(row)


class ProgressAsked(StrictInput):
    """Up to which service date, and as it was known at which instant."""

    as_of = Day(required=False)
    known_at = Instant(required=False)


class Progress(ApiView):
    """What a goal's numbers say: as last computed, or up to a day, or as it was known at an instant.

    It informs the therapist's judgement; it decides, diagnoses and changes nothing.
    """

    resource = "goal_progress"
    actions = {"GET": Action.SEE_GOALS}
    outputs = {"GET": GoalProgressRecord}
    filters = ProgressAsked

    def get(self, request: Request, id: UUID) -> Response:
        asked = self.asked()
        goal = selectors.goal_for(self.actor, id)
        self.touch(goal.client_id, goal.episode_id)
        known = None if asked else selectors.progress_of(goal)
        found = None if known else progress.find_now(goal, **(asked or {"known_at": self.now}))
        digest = known.input_digest if known else found.input_digest  # type: ignore[union-attr]
        tag = f"{goal.version}-{digest}-{'s' if known else 'n'}{'t' if self._judges else 'a'}"
        return self.show_unless_known(tag, lambda: self._shown(goal, known, found))

    @property
    def _judges(self) -> bool:
        return Role.THERAPIST in self.actor.roles

    def _shown(self, goal: Goal, known: GoalProgress | None, found: Findings | None) -> Any:
        shown = {
            "goal": goal.pk,
            "lifecycle": goal.lifecycle,
            "stated_achievement": goal.achievement,
            "computed_at": known.computed_at if known else self.now,
            "caution": CAUTION if self._judges else ASSISTANT_CAUTION,
            "found": known.findings if known else found.to_json(),  # type: ignore[union-attr]
        }
        return GoalProgressRecord(shown).data


class ProgressHistory(RowsOfGoal):
    """Findings as they once stood, newest first; one row each time that they rested on something new."""

    resource = "goal_progress_history"
    outputs = {"GET": GoalProgressHistoryRecord}
    order = ("-number",)

    def rows_of(self, goal: Goal) -> Any:
        return selectors.progress_history_of(goal)


class GoalMeasurements(RowsOfGoal):
    """The numbers of one goal as they were signed, newest first."""

    resource = "goal_measurements"
    outputs = {"GET": MeasurementRecord}
    order = ("-service_date", "-id")

    def rows_of(self, goal: Goal) -> Any:
        return measurements.measurements_for(self.actor, goal.pk)
