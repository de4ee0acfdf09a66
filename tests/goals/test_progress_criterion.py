"""Criteria: which visits they look at, how often they must hold, where, with whom, and on how much data."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from goals.enums import CriterionState, MissingCode, PhaseKind
from goals.progress.definitions import Phase
from goals.progress.errors import BadDefinition
from goals.progress.findings import find
from tests.goals.cases import FIRST_VISIT, WEEK, Case, make_criterion, make_goal, make_phases, observe
from tests.goals.scenario_goals import counts, in_a_row, of_last

MET, NOT_MET, FEW = CriterionState.MET, CriterionState.NOT_MET, CriterionState.NOT_ENOUGH_DATA
ACCURACY = make_goal({"kind": "accuracy"})
AT_LEAST_80 = {"comparison": "at_least", "value": "0.8"}


def judged(goal, clause, visits, **rest):
    """The criterion's answer after weekly visits."""
    clauses = clause if isinstance(clause, list) else [clause]
    return (
        Case(goal=goal, criterion=make_criterion(goal, *clauses, **rest), baseline=[], visits=visits)
        .findings()
        .criterion
    )


@pytest.mark.parametrize(
    ("consistency", "done", "state", "satisfied", "window"),
    [
        pytest.param(of_last(3, 4), (), FEW, 0, 0, id="no-visit"),
        pytest.param(of_last(3, 4), (9, 9), FEW, 2, 2, id="two-cannot-be-three"),
        pytest.param(of_last(3, 4), (9, 9, 9), MET, 3, 3, id="met-before-the-window-is-full"),
        pytest.param(of_last(3, 4), (9, 9, 7), NOT_MET, 2, 3, id="two-of-three"),
        pytest.param(of_last(3, 4), (9, 7, 9, 9), MET, 3, 4, id="one-miss-allowed"),
        pytest.param(of_last(3, 4), (9, 9, 9, 7, 7), NOT_MET, 2, 4, id="lost-again"),
        pytest.param(in_a_row(2), (9,), FEW, 1, 1, id="one-of-two-in-a-row"),
        pytest.param(in_a_row(2), (9, 7, 9), NOT_MET, 1, 2, id="broken-row"),
        pytest.param(in_a_row(2), (7, 9, 9), MET, 2, 2, id="row"),
        pytest.param({"kind": "pooled_visits", "n": 3}, (9, 9), FEW, 0, 2, id="pool-not-full"),
        pytest.param({"kind": "pooled_visits", "n": 3}, (5, 10, 7, 7), MET, 1, 3, id="pool-of-24-in-30"),
        pytest.param({"kind": "pooled_visits", "n": 3}, (10, 7, 7, 9), NOT_MET, 0, 3, id="pool-of-23-in-30"),
        pytest.param({"kind": "pooled_days", "days": 8}, (1, 7, 9), MET, 1, 2, id="a-week-and-a-day-holds-two"),
        pytest.param({"kind": "pooled_days", "days": 7}, (10, 7), NOT_MET, 0, 1, id="seven-days-hold-one"),
    ],
)
def test_consistency(consistency, done, state, satisfied, window):
    """k of the last m, k in a row, and visits or days taken together; visits are a week apart."""
    found = judged(ACCURACY, AT_LEAST_80, [counts(n, 10) for n in done], consistency=consistency)
    assert (found.state, found.satisfied, found.window) == (state, satisfied, window)


def test_not_enough_data_says_how_much_is_needed():
    """Too few visits answer with what is needed and what is there, never with a verdict."""
    found = judged(ACCURACY, AT_LEAST_80, [counts(9, 10)], consistency=of_last(3, 4))
    assert found.missing.code == MissingCode.NOT_ENOUGH_DATA
    assert (found.missing.needs, found.missing.has) == (3, 1)
    assert found.sentence == "Criterion: not enough data: needs 3, has 1 visits with enough data."


def test_visits_below_the_minimum_are_not_looked_at():
    """The last four are those with ten trials; a short visit neither helps nor breaks a row."""
    visits = [counts(9, 10), counts(0, 4), counts(9, 10)]
    found = judged(ACCURACY, AT_LEAST_80, visits, consistency=in_a_row(2), minimum_data={"trials": 10})
    assert (found.state, found.window) == (MET, 2)
    assert judged(ACCURACY, AT_LEAST_80, visits, consistency=in_a_row(2)).state == NOT_MET


def test_pooled_days_have_their_minimum_together():
    """Two short visits in the days pooled make the twenty trials; one does not."""
    rest = {"consistency": {"kind": "pooled_days", "days": 8}, "minimum_data": {"trials": 20}}
    assert judged(ACCURACY, AT_LEAST_80, [counts(8, 10), counts(9, 10)], **rest).state == MET
    short = judged(ACCURACY, AT_LEAST_80, [counts(8, 10)], **rest)
    assert (short.state, short.missing.needs, short.missing.has) == (FEW, 20, 10)


def test_first_met_is_kept_when_the_criterion_is_lost():
    """The day of the first time stays, though it does not hold now."""
    found = judged(ACCURACY, AT_LEAST_80, [counts(n, 10) for n in (9, 9, 2)], consistency=in_a_row(2))
    assert (found.state, found.first_met_on) == (NOT_MET, FIRST_VISIT + WEEK)


@pytest.mark.parametrize(
    ("partners", "state"), [(("Ana", "Ana", "Ana"), NOT_MET), (("Ana", "Ana", "Ben"), MET), (("", "", "Ben"), NOT_MET)]
)
def test_generalization_over_partners(partners, state):
    """Two partners among the visits that satisfy; no partner written down is none."""
    visits = [counts(9, 10, partner=partner) if partner else counts(9, 10) for partner in partners]
    rest = {"consistency": of_last(3, 4), "generalization": {"partners": 2}}
    assert judged(ACCURACY, AT_LEAST_80, visits, **rest).state == state


def test_settings_are_those_of_the_whole_row():
    """A row longer than asked for carries all its settings, the earlier ones too; a broken one does not."""
    rest = {"consistency": in_a_row(2), "generalization": {"settings": 2}}
    places = ("classroom", "clinic", "clinic")
    row = [counts(9, 10, setting=place) for place in places]
    assert judged(ACCURACY, AT_LEAST_80, row, **rest).state == MET
    assert judged(ACCURACY, AT_LEAST_80, [counts(7, 10, setting="classroom"), *row[1:]], **rest).state == NOT_MET


STEPS = make_goal({"kind": "steps", "names": ["soap", "rub", "rinse"]})


@pytest.mark.parametrize(
    ("raw", "state"),
    [
        pytest.param({"tally": {"independent": 2, "minimal": 1}}, MET, id="minimal"),
        pytest.param({"tally": {"independent": 2, "maximal": 1}}, NOT_MET, id="maximal"),
        pytest.param(counts(2, 3), NOT_MET, id="help-not-written-down"),
    ],
)
def test_no_step_below_a_level(raw, state):
    """Two steps alone are enough only if the third had no more help than allowed, and that was written down."""
    clause = {"comparison": "at_least", "value": "2", "most_assistance": "minimal"}
    assert judged(STEPS, clause, [raw]).state == state
    assert judged(STEPS, clause | {"most_assistance": None}, [raw]).state == MET


def test_a_visit_without_a_part_does_not_satisfy_it():
    """What was not measured is not shown: a fast visit without its time written down does not count as fast."""
    goal = make_goal({"kind": "accuracy"}, components=[{"kind": "duration"}])
    clauses = [
        {"component": "accuracy", "comparison": "at_least", "value": "1", "primary": True},
        {"component": "duration", "comparison": "at_most", "value": "120"},
    ]
    timed = counts(4, 4, components={"duration": {"value": "100"}})
    assert judged(goal, clauses, [timed]).state == MET
    assert judged(goal, clauses, [counts(4, 4)]).state == NOT_MET


@pytest.mark.parametrize(
    ("clause", "raw", "state"),
    [
        pytest.param(
            {"comparison": "at_least", "value": "600"}, {"value": "600", "censored": "at_least"}, MET, id="more"
        ),
        pytest.param(
            {"comparison": "at_least", "value": "700"}, {"value": "600", "censored": "at_least"}, NOT_MET, id="700"
        ),
        pytest.param(
            {"comparison": "within", "value": "500", "upper": "700"},
            {"value": "600", "censored": "at_least"},
            NOT_MET,
            id="within-not-shown",
        ),
        pytest.param({"comparison": "within", "value": "500", "upper": "700"}, {"value": "700"}, MET, id="ends-belong"),
        pytest.param(
            {"comparison": "at_least", "value": "600"},
            {"value": "700", "censored": "at_most"},
            NOT_MET,
            id="at-most-700",
        ),
    ],
)
def test_censored_values_satisfy_only_what_they_show(clause, raw, state):
    """A value known on one side satisfies a clause only when every value on that side would."""
    assert judged(make_goal({"kind": "duration"}), clause, [raw]).state == state


def test_an_open_latency_is_not_within_its_limit():
    """A child who had not begun when the minute ended has not begun within a minute."""
    goal = make_goal({"kind": "latency"}, direction="decrease")
    clause = {"comparison": "at_most", "value": "60"}
    assert judged(goal, clause, [{"value": "60", "censored": "at_least"}]).state == NOT_MET
    assert judged(goal, clause, [{"value": "60"}]).state == MET


SIDES = make_goal({"kind": "duration", "strata": "side"})


@pytest.mark.parametrize(
    ("rule", "left", "right", "state"),
    [
        ("each", 12, 9, NOT_MET),
        ("each", 12, 10, MET),
        ("each", 12, None, NOT_MET),
        ("either", 12, 3, MET),
        ("either", 9, 9, NOT_MET),
        ("left", 12, 3, MET),
        ("right", 12, 3, NOT_MET),
        (None, 12, 6, NOT_MET),
        (None, 12, 8, MET),
    ],
)
def test_side_rules(rule, left, right, state):
    """Ten seconds on each side, on either, on a named one, or in the middle of both."""
    trials = [{"side": side, "value": n} for side, n in (("left", left), ("right", right)) if n is not None]
    clause = {"comparison": "at_least", "value": "10", "side_rule": rule}
    assert judged(SIDES, clause, [{"trials": trials}]).state == state


def test_the_weaker_side_feeds_the_statistics_of_each_side():
    """Where each side must reach it, the level is the weaker side's."""
    goal = SIDES
    criterion = make_criterion(goal, {"comparison": "at_least", "value": "10", "side_rule": "each"})
    visit = {"trials": [{"side": "left", "value": 12}, {"side": "right", "value": 7}]}
    found = Case(goal=goal, criterion=criterion, baseline=[], visits=[visit]).findings()
    assert found.level.value == 7


@pytest.mark.parametrize(
    ("share", "state"), [("3", MET), ("4", NOT_MET), ("3/5", MET), ("0.8", NOT_MET), ("1.0", NOT_MET)]
)
def test_share_of_trials(share, state):
    """Holds of ten seconds in so many of five trials, as a count or as a part."""
    goal = make_goal({"kind": "duration", "visit_value": "median"})
    trials = [{"value": n} for n in (12, 10, 11, 4, 9)]
    clause = {"comparison": "at_least", "value": "10", "share": share}
    assert judged(goal, clause, [{"trials": trials}]).state == state


def test_a_share_counts_only_trials_within_the_cap():
    """Three holds are long enough, but one of them with more help than allowed."""
    goal = make_goal({"kind": "duration", "visit_value": "median"})
    trials = [{"value": 12, "assistance": level} for level in ("independent", "minimal", "maximal")]
    clause = {"comparison": "at_least", "value": "10", "share": "3"}
    assert judged(goal, clause, [{"trials": trials}]).state == MET
    assert judged(goal, clause | {"most_assistance": "minimal"}, [{"trials": trials}]).state == NOT_MET


def test_a_fraction_is_exact_where_a_rounded_decimal_would_not_be():
    """5 of 7 satisfies 5/7 and its long decimal."""
    for value in ("5/7", "0.714285714286", "0.714285714285"):
        assert judged(ACCURACY, {"comparison": "at_least", "value": value}, [counts(5, 7)]).state == MET
    assert judged(ACCURACY, {"comparison": "at_least", "value": "0.7143"}, [counts(5, 7)]).state == NOT_MET


def test_several_measurements_of_one_visit_are_one():
    """Two slots of one note are one visit with all their trials."""
    criterion = make_criterion(ACCURACY, AT_LEAST_80, consistency=in_a_row(2))
    seen = [
        observe(ACCURACY, counts(3, 5), day=FIRST_VISIT, number=1, visit="v", slot=1),
        observe(ACCURACY, counts(5, 5), day=FIRST_VISIT, number=2, visit="v", slot=2),
    ]
    found = find(ACCURACY, make_phases(criterion), seen)
    assert [(visit.successes, visit.counted) for visit in found.visits] == [(8, 10)]
    assert (found.criterion.state, found.criterion.missing.has) == (FEW, 1)


def test_a_revised_criterion_starts_anew_and_level_and_slope_go_on():
    """Visits before the revision do not count toward the new criterion; the trend runs over both."""
    first = make_criterion(ACCURACY, {"comparison": "at_least", "value": "0.6"}, consistency=in_a_row(2))
    second = make_criterion(ACCURACY, AT_LEAST_80, consistency=in_a_row(2))
    revised_on = FIRST_VISIT + 3 * WEEK
    phases = [
        Phase(
            ordinal=1,
            kind=PhaseKind.INTERVENTION,
            starts_on=FIRST_VISIT,
            ends_on=revised_on - timedelta(days=1),
            criterion=first,
        ),
        Phase(ordinal=2, kind=PhaseKind.INTERVENTION, starts_on=revised_on, criterion=second),
    ]
    seen = [
        observe(ACCURACY, counts(done, 10), day=FIRST_VISIT + WEEK * week, number=week)
        for week, done in enumerate((6, 9, 9, 9))
    ]
    found = find(ACCURACY, phases, seen)
    assert (found.criterion.state, found.criterion.missing.has) == (FEW, 1)
    assert (found.slope.points, found.level.points, found.phase_ordinal) == (4, 3, 2)
    before = find(ACCURACY, phases, seen, as_of=revised_on - timedelta(days=1))
    assert (before.criterion.state, before.phase_ordinal) == (MET, 1)


def test_a_phase_without_a_criterion_says_so():
    """No criterion, no verdict."""
    found = find(ACCURACY, make_phases(None), [observe(ACCURACY, counts(9, 10), day=FIRST_VISIT, number=1)])
    assert (found.criterion.state, found.criterion.missing.code) == (FEW, MissingCode.NO_CRITERION)


def test_unsigned_by_the_supervisor_is_preliminary():
    """A verdict that rests on a note not yet co-signed is said to be preliminary."""
    criterion = make_criterion(ACCURACY, AT_LEAST_80, consistency=in_a_row(2))
    seen = [observe(ACCURACY, counts(9, 10), day=FIRST_VISIT + WEEK * week, number=week) for week in range(3)]
    final = find(ACCURACY, make_phases(criterion), seen)
    waiting = find(ACCURACY, make_phases(criterion), [*seen[:2], replace(seen[2], preliminary=True)])
    assert (final.criterion.preliminary, waiting.criterion.preliminary) == (False, True)
    assert waiting.sentences[0] == (
        "The criterion is met, preliminary until every note is co-signed, first on 10 March 2026."
    )
    assert final.input_digest != waiting.input_digest


@given(st.lists(st.integers(0, 10), min_size=1, max_size=12), st.integers(1, 5), st.integers(0, 3))
def test_one_success_more_never_takes_a_met_away(done, k, extra):
    """Raising any visit's successes keeps a criterion that was met."""
    consistency = of_last(k, k + extra)
    before = judged(ACCURACY, AT_LEAST_80, [counts(n, 10) for n in done], consistency=consistency)
    after = judged(ACCURACY, AT_LEAST_80, [counts(min(n + 1, 10), 10) for n in done], consistency=consistency)
    assert not (before.state == MET and after.state != MET)
    assert after.satisfied >= before.satisfied


@pytest.mark.parametrize(
    ("changes", "code", "pointer"),
    [
        pytest.param({"clauses": []}, "wrong_type", "/clauses", id="no-clause"),
        pytest.param({"clauses": [AT_LEAST_80] * 5}, "wrong_type", "/clauses", id="five-clauses"),
        pytest.param({"clauses": [AT_LEAST_80] * 2}, "one_primary", "/clauses", id="no-primary"),
        pytest.param(
            {"clauses": [{"comparison": "at_most", "value": "0.8"}]},
            "against_direction",
            "/clauses/0/comparison",
            id="other-way",
        ),
        pytest.param(
            {"clauses": [{"comparison": "at_least", "value": "85"}]}, "not_a_part", "/clauses/0/value", id="85-percent"
        ),
        pytest.param(
            {"clauses": [{"comparison": "at_least", "value": "NaN"}]}, "not_a_number", "/clauses/0/value", id="nan"
        ),
        pytest.param({"clauses": [{"comparison": "at_least"}]}, "missing", "/clauses/0/value", id="no-value"),
        pytest.param(
            {"clauses": [{"comparison": "within", "value": "0.8"}]}, "band", "/clauses/0/upper", id="band-without-end"
        ),
        pytest.param(
            {"clauses": [{"comparison": "within", "value": "0.8", "upper": "0.7"}]},
            "band",
            "/clauses/0/upper",
            id="band-upside-down",
        ),
        pytest.param(
            {"clauses": [AT_LEAST_80 | {"component": "duration"}]},
            "unknown_component",
            "/clauses/0/component",
            id="unknown-component",
        ),
        pytest.param(
            {"clauses": [AT_LEAST_80 | {"share": "2"}]}, "no_share", "/clauses/0/share", id="share-of-a-share"
        ),
        pytest.param(
            {"clauses": [AT_LEAST_80 | {"side_rule": "each"}]}, "no_sides", "/clauses/0/side_rule", id="no-sides"
        ),
        pytest.param({"consistency": None}, "wrong_type", "/consistency", id="no-consistency"),
        pytest.param({"consistency": of_last(5, 4)}, "more_than_window", "/consistency/k", id="five-of-four"),
        pytest.param({"consistency": {"kind": "of_last", "k": 3}}, "wrong_members", "/consistency/m", id="of-how-many"),
        pytest.param({"consistency": in_a_row(0)}, "not_a_count", "/consistency/k", id="none-in-a-row"),
        pytest.param({"minimum_data": {"trials": -1}}, "not_a_count", "/minimum_data/trials", id="negative-minimum"),
        pytest.param({"minimum_data": {"apples": 1}}, "unknown_member", "/minimum_data/apples", id="apples"),
        pytest.param({"generalization": {"settings": 0}}, "not_a_count", "/generalization/settings", id="no-settings"),
    ],
)
def test_unclear_criteria_are_refused(changes, code, pointer):
    """A criterion that its measure cannot answer is refused with its code and its place."""
    with pytest.raises(BadDefinition) as refusal:
        make_criterion(
            ACCURACY, *changes.get("clauses", [AT_LEAST_80]), **{k: v for k, v in changes.items() if k != "clauses"}
        )
    assert (refusal.value.code, refusal.value.pointer) == (code, pointer)


def test_levels_are_not_pooled():
    """Levels of assistance have no sum, so no visits can be taken together."""
    goal = make_goal({"kind": "ordered", "scale": "assistance"})
    with pytest.raises(BadDefinition) as refusal:
        make_criterion(
            goal, {"comparison": "at_least", "value": "minimal"}, consistency={"kind": "pooled_visits", "n": 3}
        )
    assert refusal.value.code == "not_pooled"


def test_days_of_a_phase_include_its_ends():
    """First and last day belong to a phase."""
    phase = Phase(ordinal=1, kind=PhaseKind.BASELINE, starts_on=date(2026, 3, 1), ends_on=date(2026, 3, 3))
    assert [phase.holds(date(2026, 3, day)) for day in (1, 3, 4)] == [True, True, False]
