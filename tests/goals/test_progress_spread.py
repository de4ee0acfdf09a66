"""When a visit's value is said to lie far outside a goal's own spread, and when nothing is said."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from goals.progress.spread import modified_z_scores, outside_spread
from tests.goals.cases import FIRST_VISIT, WEEK, make_criterion, make_goal, make_phases, observe

OF_TEN = make_goal({"kind": "accuracy"})
SECONDS = make_goal({"kind": "duration"})
LEVELS = make_goal({"kind": "ordered", "scale": "assistance"})
CLAUSE = {
    "accuracy": {"component": "accuracy", "comparison": "at_least", "value": "8/10"},
    "duration": {"component": "duration", "comparison": "at_least", "value": "60"},
    "ordered": {"component": "ordered", "comparison": "at_least", "value": "supervision"},
}


def of_ten(successes: int) -> dict:
    return {"successes": successes, "opportunities": 10}


def seen(goal, raws, *, which: int | None = None):
    """What is said of the last of these weekly visits, or of another one."""
    criterion = make_criterion(goal, CLAUSE[goal.measure.kind])
    observations = [
        observe(goal, raw, day=FIRST_VISIT + number * WEEK, number=number) for number, raw in enumerate(raws)
    ]
    visit = f"v-{len(raws) - 1 if which is None else which:04d}"
    return outside_spread(goal, make_phases(criterion), observations, visit=visit)


@pytest.mark.parametrize(
    ("before", "last", "far"),
    [
        pytest.param([9, 8, 9, 9, 8], 1, True, id="one-for-ten"),
        pytest.param([10, 10, 10, 10, 10], 9, False, id="one-step-down-from-all-the-same"),
        pytest.param([10, 10, 10, 10, 10], 4, True, id="six-steps-down-from-all-the-same"),
        pytest.param([2, 3, 4, 5, 6, 7], 8, False, id="a-child-who-learns"),
        pytest.param([1, 1, 2, 1, 2], 10, True, id="far-upward-too"),
        pytest.param([9, 8, 9, 9], 1, False, id="five-values-are-too-few"),
    ],
)
def test_a_value_far_out(before, last, far):
    """Six values at the least, and further than 3.5 of the goal's own spread, either way."""
    assert (seen(OF_TEN, [of_ten(number) for number in [*before, last]]) is not None) is far


def test_it_is_told_with_what_it_rests_on():
    """The value, the middle of how many visits, and the score."""
    found = seen(OF_TEN, [of_ten(number) for number in (9, 8, 9, 9, 8, 1)])
    assert (found.value, found.middle, found.visits) == (Decimal("0.1"), Decimal("0.85"), 6)
    # Deviations .05 .05 .05 .05 .05 .75, of which the middle is less than one trial of ten.
    assert found.score == Decimal("-5.05875")
    assert found.sentence == (
        "10 % of trials is far from this goal's other visits: the middle of 6 visits is 85 % of trials "
        "(modified z -5.1)"
    )


def test_later_visits_do_not_count():
    """A visit is held against those up to it, whatever came after."""
    numbers = [9, 8, 9, 9, 8, 1, 1, 1, 1, 1, 1, 1]
    assert seen(OF_TEN, [of_ten(number) for number in numbers], which=5) is not None
    assert seen(OF_TEN, [of_ten(number) for number in numbers]) is None


@pytest.mark.parametrize(
    ("goal", "raws"),
    [
        pytest.param(LEVELS, [{"value": "independent"}] * 6 + [{"value": "total"}], id="ordered"),
        pytest.param(SECONDS, [{"value": 60}] * 6 + [{"value": 600, "censored": "at_least"}], id="a-censored-value"),
        pytest.param(OF_TEN, [of_ten(9)] * 6 + [{"not_measured": "ill"}], id="not-measured"),
    ],
)
def test_of_what_nothing_is_said(goal, raws):
    """Levels have no distances, a censored value is no number, a reason is no value."""
    assert seen(goal, raws) is None


def test_a_time_far_out():
    """Of seconds one second is the least spread."""
    assert seen(SECONDS, [{"value": 60}] * 5 + [{"value": 600}]).score == Decimal("364.23")
    assert seen(SECONDS, [{"value": 60}] * 5 + [{"value": 64}]) is None


def test_nothing_spreads():
    """Where all values are the same and no step is known there is no score; nor is there of none."""
    assert modified_z_scores([Fraction(3)] * 8) is None
    assert modified_z_scores([]) is None


@given(st.lists(st.integers(-50, 50), min_size=1, max_size=20), st.integers(-9, 9), st.integers(1, 9))
def test_shift_and_scale(values, shift, factor):
    """Other zero points and other units change no score."""
    moved = [Fraction(value * factor + shift) for value in values]
    assert modified_z_scores(moved) == modified_z_scores([Fraction(value) for value in values])
