"""Attempts on the first floor's tables."""

from decimal import Decimal
from typing import Any

from clinic import models as c
from goals import models as m
from tests.architecture.attempts.attempt import BACKWARDS, TOMORROW, YESTERDAY, Attempt, there_is, with_columns
from tests.architecture.world import DAY, LATER, NOON, World

A = Attempt


def numbers(kind: str, value: Any, **changes: Any) -> dict[str, Any]:
    """The derived columns of a kind that is not counted as successes of trials."""
    plain = {"measure": kind, "successes": None, "counted": 1, "value": None if value is None else Decimal(value)}
    return {**plain, **changes}


def of_kind(columns: dict[str, Any]) -> Any:
    """A goal of that kind, in the same episode, with these numbers."""
    kind = columns.get("measure", "accuracy")
    return lambda w: {"goal": goal_of(w, kind), **columns}


def goal_of(w: World, kind: str) -> Any:
    levels = ["much less", "less", "as expected", "more", "much more"] if kind == "rating" else []
    return w.add(m.Goal, number=7, measure=kind, levels=levels)


IMPOSSIBLE = {
    "more successes than counted": {"successes": 9, "counted": 8, "value": Decimal(1)},
    "counted none": {"successes": 0, "counted": 0, "value": Decimal(0)},
    "successes not said": {"successes": None},
    "counted not said": {"counted": None},
    "a value not said": {"value": None},
    "a share above one": {"value": Decimal("1.01")},
    "a share below zero": {"value": Decimal("-0.01")},
    "more intervals than watched": {"measure": "interval", "successes": 31, "counted": 30, "value": Decimal(1)},
    "more steps than there are": {"measure": "steps", "successes": 7, "counted": 6, "value": Decimal(7)},
    "negative seconds": numbers("duration", "-1"),
    "negative waiting": numbers("latency", "-0.1"),
    "a negative rate": numbers("rate", "-2", counted=None, watched=Decimal(20)),
    "a rate of no time": numbers("rate", "2", counted=None),
    "negative prompts": numbers("prompts", "-1"),
    "a rating of 3": numbers("rating", "3"),
    "a rating of -3": numbers("rating", "-3"),
    "half a rating": numbers("rating", "0.5"),
    "a level below the lowest": numbers("ordered", "-1"),
    "half a level": numbers("ordered", "1.5"),
    "a quantity of nothing": numbers("quantity", None),
    "a score of nothing": numbers("score", None),
    "nothing measured, yet a value": {"not_measured": "refused"},
    "nothing measured, and no reason": {"successes": None, "counted": None, "value": None},
}

MEASURED = [
    *(
        A("measurement_is_possible_for_its_kind", m.Measurement, why, of_kind(columns))
        for why, columns in IMPOSSIBLE.items()
    ),
    *(
        A("measurement_value_is_a_number", m.Measurement, f"a {kind} that is no number", of_kind(numbers(kind, "NaN")))
        for kind in ("duration", "quantity", "score")
    ),
    *(
        A("measurement_watched_is_not_negative", m.Measurement, f"watched for {watched}", with_columns(watched=watched))
        for watched in (Decimal("-1"), Decimal("NaN"))
    ),
    A(
        "measurement_observed_until_after_from",
        m.Measurement,
        "observed until before from",
        with_columns(observed_from=LATER, observed_until=NOON),
    ),
    A(
        "measurement_observed_until_after_from",
        m.Measurement,
        "observed from no time on",
        with_columns(observed_until=NOON),
    ),
    A("measurement_slot_once", m.Measurement, "the same slot twice", with_columns(), there_is(m.Measurement)),
    A(
        "measurement_goal_is_of_the_episode_and_measure",
        m.Measurement,
        "a goal of another child",
        lambda w: {"goal": w.row(m.Goal, "second")},
    ),
    A(
        "measurement_goal_is_of_the_episode_and_measure",
        m.Measurement,
        "a kind that is not the goal's",
        with_columns(**numbers("duration", "30")),
    ),
    A(
        "measurement_goal_is_of_the_episode_and_measure",
        m.Measurement,
        "a goal of the same child's other episode",
        lambda w: {"goal": w.add(m.Goal, episode=w.add(c.Episode, setting="school"))},
    ),
    A(
        "measurement_document_is_of_the_episode",
        m.Measurement,
        "a document of another episode",
        lambda w: {"document": w.row(c.Document, "second"), "version": w.row(c.DocumentVersion, "second")},
    ),
    A(
        "measurement_version_is_of_the_document",
        m.Measurement,
        "a version of another document",
        lambda w: {"version": w.row(c.DocumentVersion, "second")},
    ),
    A(
        "measurement_episode_is_the_clients",
        m.Measurement,
        "another child",
        lambda w: {"client": w.row(c.Client, "second")},
    ),
]

PLANNED = [
    A(
        "plan_period_ends_after_start",
        m.PlanPeriod,
        "a plan ends before it starts",
        with_columns(**BACKWARDS),
        beside=("plan_period_no_overlap",),
    ),
    A("plan_period_no_overlap", m.PlanPeriod, "two plans on a day", with_columns(), there_is(m.PlanPeriod)),
    A("certification_npi_is_ten_digits", m.Certification, "nine digits", with_columns(physician_npi="123456789")),
    A("scale_has_two_levels", m.OrderedScale, "one level", with_columns(levels=["always"])),
    A(
        "scale_name_once_per_organization",
        m.OrderedScale,
        "two scales of a name",
        with_columns(name="Foods"),
        there_is(m.OrderedScale, name="Foods"),
    ),
    A("goal_number_from_one", m.Goal, "number 0", with_columns(number=0)),
    A("goal_number_once_per_episode", m.Goal, "a number used again", with_columns(), there_is(m.Goal)),
    A(
        "goal_number_once_per_episode",
        m.Goal,
        "the number of a cancelled goal",
        with_columns(),
        there_is(m.Goal, lifecycle="cancelled"),
    ),
    *(
        A("goal_active_has_a_start", m.Goal, f"{status} from no day on", with_columns(lifecycle=status), change=True)
        for status in ("active", "on-hold", "completed")
    ),
    A(
        "goal_ordered_has_a_scale",
        m.Goal,
        "a scale for a share",
        lambda w: {"measure": "accuracy", "scale": w.row(m.OrderedScale)},
    ),
    A("goal_rating_has_five_levels", m.Goal, "four levels", with_columns(measure="rating", levels=list("abcd"))),
    A("goal_rating_has_five_levels", m.Goal, "levels of a share", with_columns(levels=list("abcde"))),
    A("goal_measure_is_of_positive_size", m.Goal, "in no minutes", with_columns(per_minutes=0)),
    A("goal_measure_is_of_positive_size", m.Goal, "an error of none", with_columns(standard_error=0)),
    A(
        "goal_episode_is_the_clients",
        m.Goal,
        "an episode of another child",
        lambda w: {"client": w.row(c.Client, "second")},
    ),
    A(
        "goal_parent_is_of_the_episode",
        m.Goal,
        "under a goal of another child",
        lambda w: {"parent": w.row(m.Goal, "second")},
    ),
    A(
        "review_item_goal_is_of_the_episode",
        m.ReviewItem,
        "a goal of another episode",
        lambda w: {"goal": w.row(m.Goal, "second")},
    ),
]

PHASES = [
    A(
        "goal_phase_ends_after_start",
        m.GoalPhase,
        "a phase ends before it starts",
        with_columns(**BACKWARDS),
        beside=("goal_phase_no_overlap",),
    ),
    A("goal_phase_no_overlap", m.GoalPhase, "two phases on a day", with_columns(ordinal=2), there_is(m.GoalPhase)),
    A(
        "goal_phase_ordinal_once",
        m.GoalPhase,
        "the same place twice",
        with_columns(starts_on=TOMORROW),
        there_is(m.GoalPhase, starts_on=YESTERDAY, ends_on=DAY),
    ),
    *(
        A("goal_phase_consistency_is_whole", m.GoalPhase, why, with_columns(**columns))
        for why, columns in (
            ("k of nothing", {"consistency": "of_last", "needed": 3}),
            ("4 of the last 3", {"consistency": "of_last", "needed": 4, "window": 3}),
            ("none of the last 3", {"consistency": "of_last", "needed": 0, "window": 3}),
            ("in a row of none said", {"consistency": "in_a_row", "needed": None}),
            ("pooled over nothing", {"consistency": "pooled_visits", "needed": None}),
            ("pooled over no days", {"consistency": "pooled_days", "needed": None, "window": 0}),
            ("numbers without a rule", {"consistency": None, "needed": 3, "window": 4}),
        )
    ),
    A("clause_ordinal_once", m.Clause, "the same place twice", with_columns(), there_is(m.Clause)),
    A(
        "clause_one_primary",
        m.Clause,
        "two primary clauses",
        with_columns(ordinal=2, primary=True),
        there_is(m.Clause, primary=True),
    ),
    A("clause_at_most_four", m.Clause, "a fifth clause", with_columns(ordinal=5)),
    A("clause_within_has_two_ends", m.Clause, "within one end", with_columns(comparison="within")),
    A(
        "clause_within_has_two_ends",
        m.Clause,
        "at least, up to",
        with_columns(comparison="at_least", upper_value="9"),
    ),
]

FOUND = [
    A(
        "progress_history_number_once",
        m.GoalProgressHistory,
        "one number twice",
        with_columns(),
        there_is(m.GoalProgressHistory),
    ),
    A("review_item_one_open", m.ReviewItem, "open twice", with_columns(), there_is(m.ReviewItem)),
    A(
        "review_item_acknowledged_by_somebody",
        m.ReviewItem,
        "by nobody",
        with_columns(acknowledged_at=NOON),
        change=True,
    ),
    A(
        "review_item_withdrawn_after_opening",
        m.ReviewItem,
        "before it was opened",
        with_columns(opened_at=LATER, withdrawn_at=NOON),
    ),
]

ATTEMPTS = [*MEASURED, *PLANNED, *PHASES, *FOUND]

TOUCHING = [
    (m.PlanPeriod, {"ends_on": DAY}, with_columns(starts_on=TOMORROW)),
    (m.GoalPhase, {"ends_on": DAY}, with_columns(starts_on=TOMORROW, ordinal=2)),
    (m.Goal, {}, with_columns(number=2)),
    (m.Measurement, {}, with_columns(slot=2)),
    (m.Measurement, {}, of_kind(numbers("rating", "-2"))),
    (m.Measurement, {}, of_kind(numbers("duration", "600", censored="at_least"))),
    (m.Measurement, {}, of_kind(numbers("rate", "12", counted=None, watched=Decimal(30)))),
    (
        m.Measurement,
        {},
        with_columns(slot=2, not_measured="no_time", successes=None, counted=None, value=None),
    ),
    (m.ReviewItem, {"withdrawn_at": LATER}, with_columns()),
]

COMPANY: dict[tuple[str, str], dict[str, Any]] = {
    ("goals.Goal", "scale"): {"measure": "ordered"},
    ("goals.ReviewItem", "acknowledged_by"): {"acknowledged_at": NOON},
}
