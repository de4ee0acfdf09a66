"""Findings: level, baseline, percent and slope, what they say when there is too little, and what they rest on."""

import warnings
from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal

import pytest

from goals.enums import Achievement, Bound, CriterionState, MissingCode, PhaseKind
from goals.progress.definitions import Phase
from goals.progress.digest import input_digest
from goals.progress.errors import BadDefinition
from goals.progress.findings import find
from goals.progress.reading import read_goal
from tests.goals.cases import BASELINE_DAY, FIRST_VISIT, WEEK, Case, make_criterion, make_goal, make_phases, observe
from tests.goals.scenario_goals import counts, in_a_row, letters, of_last

SECONDS = make_goal({"kind": "duration"})
AT_LEAST_60 = make_criterion(SECONDS, {"comparison": "at_least", "value": "60"}, consistency=of_last(2, 3))


def timed(*visits: object, baseline: tuple[object, ...] = (10,)) -> Case:
    """A duration goal; a pair is a value with its censoring, None a visit without it."""
    return Case(
        goal=SECONDS,
        criterion=AT_LEAST_60,
        baseline=[_sheet(value) for value in baseline],
        visits=[None if value is None else _sheet(value) for value in visits],
    )


def _sheet(value):
    return {"value": value[0], "censored": value[1]} if isinstance(value, tuple) else {"value": value}


def test_nothing_at_all_is_not_enough_data():
    """No visit: every figure says what it needs, and no warning is raised."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = find(SECONDS, make_phases(AT_LEAST_60), [])
    assert found.level.sentence == "Level: not enough data: needs 1, has 0 visits."
    assert found.baseline.sentence == "Baseline: not enough data: needs 1, has 0 observations."
    assert found.slope.sentence == "Slope: not enough data: needs 3, has 0 visits."
    assert found.percent.missing.code == MissingCode.NOT_ENOUGH_DATA
    assert found.criterion.state == CriterionState.NOT_ENOUGH_DATA


def test_no_phase_leaves_everything_out():
    """Without a phase a measurement belongs nowhere, and that is said."""
    found = find(SECONDS, [], [observe(SECONDS, {"value": 3}, day=FIRST_VISIT, number=1)])
    assert (found.outside_phases, found.phase, found.level.value) == (1, None, None)
    assert "1 measurement outside every phase left out." in found.sentences


@pytest.mark.parametrize("visits", [1, 2])
def test_a_slope_needs_three_visits(visits):
    """One or two visits are no trend."""
    missing = timed(*range(20, 20 + visits)).findings().slope.missing
    assert (missing.code, missing.needs, missing.has) == (MissingCode.NOT_ENOUGH_DATA, 3, visits)


def test_visits_on_one_day_have_no_slope():
    """Three visits on the same day have no two different times."""
    seen = [observe(SECONDS, {"value": n}, day=FIRST_VISIT, number=n) for n in (1, 2, 3)]
    found = find(SECONDS, make_phases(AT_LEAST_60), seen)
    assert found.slope.sentence == "Slope: not enough data: needs 2, has 1 different days."
    assert found.level.value == 2


def test_equal_values_have_a_slope_of_nothing():
    """All equal: slope 0, interval 0 to 0, in words."""
    found = timed(30, 30, 30, 30, 30, 30).findings()
    assert (found.slope.value, found.slope.low, found.slope.high) == (0, 0, 0)
    assert found.slope.sentence.startswith("The value stays level (Theil-Sen; 95 % interval 0 to 0;")


def test_few_visits_have_an_interval_that_says_it_is_short():
    """With four visits the interval is the range of all pairs and covers less than 95 %."""
    found = timed(10, 20, 30, 50).findings()
    assert not found.slope.full_interval
    assert "which with so few visits covers less than 95 %" in found.slope.sentence
    assert timed(10, 20, 30, 50, 60).findings().slope.full_interval


def test_missing_visits_are_absent_and_never_zero():
    """A visit with a reason is no value: level and slope are those of the others."""
    case = timed(20, 30, None, 40, 50)
    ill = observe(SECONDS, {"not_measured": "ill"}, day=FIRST_VISIT + 2 * WEEK, number=900)
    found = find(SECONDS, make_phases(AT_LEAST_60), [*case.observations(), ill])
    assert (found.level.value, found.slope.points, found.not_measured) == (40, 4, 1)
    assert found.slope.value == case.findings().slope.value
    assert "Nothing was measured once, with a reason." in found.sentences


def test_baseline_is_the_middle_of_its_probes():
    """Three probes of one day are three observations; two have their mean as middle."""
    assert timed(30, baseline=(10, 50, 20)).findings().baseline.sentence == (
        "Baseline: 20 s, the middle of 3 observations."
    )
    assert timed(30, baseline=(10, 25)).findings().baseline.value == Decimal("17.5")


@pytest.mark.parametrize(
    ("visits", "percent"),
    [((5,), "-10"), ((35,), "50"), ((110,), "200")],
    ids=["below-baseline", "halfway", "beyond"],
)
def test_percent_is_not_cut_off(visits, percent):
    """From 10 to 60 seconds: below the baseline is negative, beyond the criterion more than 100."""
    assert timed(*visits).findings().percent.value == Decimal(percent)


def test_a_baseline_at_the_criterion_has_no_way_to_go():
    """No division by nothing: the reason is given instead."""
    found = timed(70, baseline=(60,)).findings()
    assert found.percent.missing.code == MissingCode.BASELINE_MEETS_CRITERION
    assert found.percent.value is None


def test_an_open_baseline_has_no_percent():
    """From a baseline known on one side only no way can be measured."""
    found = timed(40, baseline=((30, "at_least"),)).findings()
    assert (found.percent.value, found.percent.missing.code) == (None, MissingCode.CENSORED)
    assert found.baseline.sentence == "Baseline: at least 30 s, one observation."


def test_a_band_has_no_percent():
    """Within two values there is no single way."""
    goal = make_goal({"kind": "duration"}, direction="maintain")
    criterion = make_criterion(goal, {"comparison": "within", "value": "50", "upper": "70"})
    found = Case(goal=goal, criterion=criterion, baseline=[{"value": 10}], visits=[{"value": 60}]).findings()
    assert (found.criterion.state, found.percent.missing.code) == (CriterionState.MET, MissingCode.BAND)


def test_a_middle_that_open_values_cannot_move_is_exact():
    """One of the last three open upward: the median is known, and the slope too where the pairs allow it."""
    found = timed(20, 30, 40, (60, "at_least")).findings()
    assert (found.level.value, found.level.bound) == (40, None)


def test_values_open_downward_bound_the_slope_from_above():
    """Latencies known only to be at most: the slope is an upper bound."""
    goal = make_goal({"kind": "latency"}, direction="decrease")
    criterion = make_criterion(goal, {"comparison": "at_most", "value": "5"})
    visits = [{"value": n} for n in (50, 40, 30)] + [{"value": 10, "censored": "at_most"}] * 2
    found = Case(goal=goal, criterion=criterion, baseline=[{"value": 60}], visits=visits).findings()
    assert (found.slope.bound, found.level.bound) == (Bound.UPPER, Bound.UPPER)
    assert found.percent.bound == Bound.LOWER
    assert "changes by at most -10 s a week" in found.slope.sentence


def test_all_values_open_have_no_slope():
    """When every value is at the limit nothing is known of the trend, and no number is invented."""
    found = timed(*[(60, "at_least")] * 5).findings()
    assert (found.slope.value, found.slope.missing.code) == (None, MissingCode.CENSORED)
    assert (found.level.value, found.level.bound) == (60, Bound.LOWER)


def test_a_censored_bound_holds_whatever_the_true_values_were():
    """Theil-Sen of any values that the open ones may stand for is never below the bound."""
    bounded = timed(20, 45, 30, (60, "at_least"), (60, "at_least"), 50).findings().slope
    assert bounded.bound == Bound.LOWER
    for fourth, fifth in ((60, 60), (60, 600), (600, 60), (90, 75)):
        assert timed(20, 45, 30, fourth, fifth, 50).findings().slope.value >= bounded.value


def test_visits_below_the_minimum_are_left_out_and_said():
    """A visit of two trials moves neither level nor slope."""
    goal = make_goal({"kind": "accuracy"})
    criterion = make_criterion(goal, {"comparison": "at_least", "value": "0.8"}, minimum_data={"trials": 10})
    visits = [counts(5, 10), counts(6, 10), counts(7, 10), counts(0, 2)]
    found = Case(goal=goal, criterion=criterion, baseline=[counts(1, 2)], visits=visits).findings()
    assert (found.level.value, found.slope.points) == (Decimal("0.6"), 3)
    assert "1 visit with less than the minimum data left out." in found.sentences
    assert [visit.qualifies for visit in found.visits] == [None, True, True, True, False]


def test_a_maintenance_phase_has_its_own_trend():
    """Slope of the current kind of phase only; level of the last visits whatever their phase."""
    phases = [
        *make_phases(AT_LEAST_60)[:1],
        replace(make_phases(AT_LEAST_60)[1], ends_on=FIRST_VISIT + 2 * WEEK),
        Phase(
            ordinal=3,
            kind=PhaseKind.MAINTENANCE,
            starts_on=FIRST_VISIT + 3 * WEEK,
            criterion=AT_LEAST_60,
        ),
    ]
    found = find(SECONDS, phases, timed(20, 50, 60, 65, 65).observations())
    assert (found.phase, found.slope.points, found.level.value) == (PhaseKind.MAINTENANCE, 2, 65)
    assert (found.criterion.state, found.achievement) == (CriterionState.MET, Achievement.SUSTAINING)


@pytest.mark.parametrize(
    ("visits", "achievement"),
    [
        ((10, 20, 30, 40, 50), Achievement.IMPROVING),
        ((50, 40, 30, 20, 10), Achievement.WORSENING),
        ((10, 40, 20, 50, 30), Achievement.IN_PROGRESS),
        ((10, 20, 30), Achievement.IN_PROGRESS),
        ((10, 20, 60, 60), Achievement.ACHIEVED),
    ],
    ids=["rising", "falling", "unclear", "few", "met"],
)
def test_achievement_is_claimed_only_by_the_whole_interval(visits, achievement):
    """Improving or worsening only when the interval of the slope excludes nothing; else in progress."""
    assert timed(*visits).findings().achievement == achievement


def test_findings_are_strings_and_whole_numbers():
    """As JSON there is no float in them, and exact decimals are strings."""
    plain = letters().findings().to_json()
    assert plain["level"]["value"] == "0.875"
    assert plain["criterion"]["first_met_on"] == "2026-03-31"
    assert not list(floats_in(plain))


def floats_in(value):
    """Every float inside a plain value."""
    if isinstance(value, float):
        yield value
    for inner in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
        yield from floats_in(inner)


def test_the_order_of_reading_changes_nothing():
    """Observations in any order give the same findings and the same digest."""
    case = letters()
    phases = make_phases(case.criterion)
    seen = case.observations()
    assert find(case.goal, phases[::-1], seen[::-1]) == find(case.goal, phases, seen)


def test_the_digest_is_of_what_the_findings_rest_on():
    """A later day alone changes nothing; a value, a setting, a phase or a criterion does."""
    case = letters()
    phases, seen = make_phases(case.criterion), case.observations()
    digest = find(case.goal, phases, seen).input_digest
    assert digest == input_digest(case.goal, phases, seen, as_of=seen[-1].day)
    assert digest == input_digest(case.goal, phases, seen, as_of=seen[-1].day + 50 * WEEK)
    assert digest != input_digest(case.goal, phases, seen[:-1])
    assert digest != input_digest(case.goal, phases, [*seen[:-1], replace(seen[-1], setting="home")])
    assert digest != input_digest(case.goal, make_phases(None), seen)
    assert digest != input_digest(replace(case.goal, purpose="maintain"), phases, seen)


def test_as_of_a_day_leaves_later_visits_out():
    """What was true on a day rests on visits up to that day."""
    case = letters()
    then = find(case.goal, make_phases(case.criterion), case.observations(), as_of=FIRST_VISIT + 3 * WEEK)
    assert then == case.findings(4)


def test_two_visits_of_a_day_stand_in_the_order_of_their_hours():
    """The hour decides which visit of a day is the last, not the name of its note."""
    criterion = make_criterion(SECONDS, {"comparison": "at_least", "value": "60"}, consistency=in_a_row(1))
    noon, evening = (datetime(2026, 3, 3, hour, tzinfo=UTC) for hour in (12, 18))
    late = observe(SECONDS, {"value": 70}, day=FIRST_VISIT, number=1, visit="a", started_at=evening)
    early = observe(SECONDS, {"value": 10}, day=FIRST_VISIT, number=2, visit="b", started_at=noon)
    assert find(SECONDS, make_phases(criterion), [late, early]).criterion.state == CriterionState.MET


def test_one_goal_of_forty_visits_has_points_for_each():
    """A long course is answered in full, baseline and visits in order."""
    found = timed(*range(1, 41)).findings()
    assert [visit.day for visit in found.visits] == [BASELINE_DAY, *(FIRST_VISIT + WEEK * week for week in range(40))]
    assert found.slope.value == 1


@pytest.mark.parametrize(
    ("changes", "code", "pointer"),
    [
        ({"measure": {"kind": "mood"}}, "unknown_word", "/measure/kind"),
        ({"measure": {}}, "missing", "/measure/kind"),
        ({"measure": {"kind": "ordered"}}, "scale_missing", "/measure/scale"),
        ({"measure": {"kind": "ordered", "scale": ["a", "a"]}}, "name_twice", "/measure/scale"),
        (
            {"measure": {"kind": "ordered", "scale": ["a", "b"], "visit_value": "sum"}},
            "ranks_have_no_sum",
            "/measure/visit_value",
        ),
        ({"measure": {"kind": "duration", "unit": "years"}}, "unknown_unit", "/measure/unit"),
        ({"measure": {"kind": "score", "sem": "0"}}, "not_a_number", "/measure/sem"),
        ({"measure": {"kind": "rate", "per_minutes": "NaN"}}, "not_a_number", "/measure/per_minutes"),
        ({"measure": {"kind": "accuracy", "strata": "step"}}, "steps_by_step", "/measure/strata"),
        ({"measure": {"kind": "accuracy", "colour": "red"}}, "unknown_member", "/measure/colour"),
        ({"components": [{"kind": "duration"}]}, "kind_twice", "/components/0/kind"),
        ({"components": [{"kind": "latency", "visit_value": "best"}]}, "no_best", "/components/0/visit_value"),
        ({"direction": None}, "missing", "/direction"),
        ({"purpose": "hope"}, "unknown_word", "/purpose"),
    ],
)
def test_unclear_goals_are_refused(changes, code, pointer):
    """A measure that cannot be computed is refused with its code and its place."""
    data = {"purpose": "improve", "direction": "increase", "measure": {"kind": "duration"}} | changes
    with pytest.raises(BadDefinition) as refusal:
        read_goal(data)
    assert (refusal.value.code, refusal.value.pointer) == (code, pointer)
