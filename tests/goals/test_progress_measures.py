"""Raw counts as clients send them become numbers, or are refused with their place and a code."""

import json
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from goals.enums import Censored, MeasureKind, NotMeasuredReason
from goals.progress.criteria import read_criterion
from goals.progress.errors import ImpossibleMeasurement
from goals.progress.measures import derive
from tests.goals.cases import make_criterion, make_goal

ACCURACY = make_goal({"kind": "accuracy"})
DURATION = make_goal({"kind": "duration", "visit_value": "sum"})
RATE = make_goal({"kind": "rate", "per_minutes": "30"})
PROMPTS = make_goal({"kind": "prompts"})
MILLIMETRES = make_goal({"kind": "quantity", "unit": "mm", "visit_value": "median"})
TURNS = make_goal({"kind": "quantity", "unit": "{turns}"})
HELP = make_goal({"kind": "ordered", "scale": "assistance"})
FOODS = make_goal(
    {"kind": "ordered", "scale": ["none", "licks", "eats"], "strata": "exemplar", "names": ["egg", "pear"]}
)
STEPS = make_goal({"kind": "steps", "names": ["soap", "rub", "rinse", "dry"]})
RATING = make_goal({"kind": "rating"})
SCORE = make_goal({"kind": "score", "sem": "1.5"})
SIDES = make_goal({"kind": "duration", "strata": "side"})


def trials(*outcomes: bool) -> list[dict]:
    """Plain trials by outcome."""
    return [{"success": outcome} for outcome in outcomes]


@pytest.mark.parametrize(
    ("goal", "raw", "successes", "counted", "value"),
    [
        pytest.param(ACCURACY, {"successes": 7, "opportunities": 10}, 7, 10, "0.7", id="plain-count"),
        pytest.param(ACCURACY, {"successes": 5, "opportunities": 7}, 5, 7, "0.714285714286", id="twelve-places"),
        pytest.param(ACCURACY, {"trials": trials(True, False, True)}, 2, 3, "0.666666666667", id="trials"),
        pytest.param(ACCURACY, {"successes": "0", "opportunities": "4"}, 0, 4, "0", id="counts-as-strings"),
        pytest.param(ACCURACY, {"tally": {"success": 6, "failure": 2}}, 6, 8, "0.75", id="tally-by-outcome"),
        pytest.param(DURATION, {"value": "170"}, None, 1, "170", id="seconds"),
        pytest.param(DURATION, {"trials": [{"value": "12.5"}, {"value": 7}]}, None, 2, "19.5", id="sum"),
        pytest.param(RATE, {"value": "8", "watched": "20"}, None, None, "12", id="rate"),
        pytest.param(RATE, {"value": "1", "watched": "45"}, None, None, "0.666666666667", id="rate-exact"),
        pytest.param(PROMPTS, {"value": "3"}, None, 1, "3", id="prompts"),
        pytest.param(PROMPTS, {"tally": {"none": 4, "spoken": 2, "touch": 1}}, None, 1, "3", id="prompts-by-kind"),
        pytest.param(MILLIMETRES, {"trials": [{"value": "4"}, {"value": "9"}]}, None, 2, "6.5", id="median"),
        pytest.param(TURNS, {"value": 4}, None, 1, "4", id="things-counted"),
        pytest.param(HELP, {"value": "supervision"}, None, 1, "5", id="level-by-name"),
        pytest.param(HELP, {"value": "0"}, None, 1, "0", id="level-by-place"),
        pytest.param(RATING, {"value": -1}, None, 1, "-1", id="rating"),
        pytest.param(SCORE, {"value": "6.5"}, None, 1, "6.5", id="score"),
        pytest.param(STEPS, {"successes": 3, "opportunities": 4}, 3, 4, "3", id="steps-counted"),
        pytest.param(
            STEPS, {"tally": {"independent": 2, "supervision": 1, "minimal": 1}}, 3, 4, "3", id="steps-tallied"
        ),
    ],
)
def test_numbers_of_each_kind(goal, raw, successes, counted, value):
    """Each kind in each of its forms, exactly."""
    found = derive(goal, raw)
    assert (found.successes, found.counted, found.value) == (successes, counted, Decimal(value))
    assert found.censored is None and found.not_measured is None


@pytest.mark.parametrize(
    ("visit_value", "value"),
    [("sum", "60"), ("mean", "20"), ("median", "15"), ("best", "35"), ("last", "10")],
)
def test_how_trials_become_a_value(visit_value, value):
    """Three holds of 15, 35 and 10 seconds, by each way of taking them together."""
    goal = make_goal({"kind": "duration", "visit_value": visit_value})
    assert derive(goal, {"trials": [{"value": n} for n in (15, 35, 10)]}).value == Decimal(value)


def test_best_follows_the_direction():
    """The best latency is the shortest."""
    goal = make_goal({"kind": "latency", "visit_value": "best"}, direction="decrease")
    assert derive(goal, {"trials": [{"value": n} for n in (15, 35, 10)]}).value == Decimal(10)


@pytest.mark.parametrize(
    ("caps", "successes"),
    [
        pytest.param({}, 6, id="alone-only"),
        pytest.param({"most_prompting": "spoken"}, 9, id="spoken-allowed"),
        pytest.param({"most_prompting": "touch"}, 10, id="touch-allowed"),
        pytest.param({"most_assistance": "minimal"}, 6, id="help-is-another-ladder"),
    ],
)
def test_a_tally_counts_what_its_caps_allow(caps, successes):
    """Six alone, three after a spoken cue, one with a touch: the clause's cap says what a success is."""
    criterion = make_criterion(ACCURACY, {"comparison": "at_least", "value": "0.8"} | caps)
    found = derive(ACCURACY, {"tally": {"independent": 6, "spoken": 3, "touch": 1}}, primary=criterion.primary)
    assert (found.successes, found.counted) == (successes, 10)


@pytest.mark.parametrize(
    ("caps", "successes"),
    [({}, 5), ({"most_assistance": "supervision"}, 7), ({"most_assistance": "minimal"}, 10)],
    ids=["alone", "supervision", "minimal"],
)
def test_a_tally_by_level_counts_what_its_cap_allows(caps, successes):
    """Without a cap only what was done alone counts, with or without a device."""
    tally = {"independent": 4, "modified_independent": 1, "supervision": 2, "minimal": 3, "total": 2}
    criterion = make_criterion(ACCURACY, {"comparison": "at_least", "value": "0.8"} | caps)
    assert derive(ACCURACY, {"tally": tally}, primary=criterion.primary).successes == successes


def test_a_tally_of_fewer_than_its_opportunities_leaves_failures():
    """Twelve opportunities, ten of them tallied: two were not done."""
    found = derive(ACCURACY, {"tally": {"independent": 6, "spoken": 4}, "opportunities": 12})
    assert (found.successes, found.counted) == (6, 12)


def test_trials_keep_their_help_apart():
    """Help by level and cue, the most help of any trial, and success only within the cap."""
    criterion = make_criterion(ACCURACY, {"comparison": "at_least", "value": "0.8", "most_assistance": "minimal"})
    raw = {
        "trials": [
            {"success": True, "assistance": "independent"},
            {"success": True, "assistance": "minimal", "prompt": "spoken"},
            {"success": True, "assistance": "maximal"},
            {"success": False, "assistance": "independent", "at": "2026-03-03T09:05:00Z"},
        ]
    }
    found = derive(ACCURACY, raw, primary=criterion.primary)
    assert (found.successes, found.counted) == (2, 4)
    assert found.parts["by_assistance"] == {"independent": 2, "minimal": 1, "maximal": 1}
    assert found.parts["by_prompt"] == {"spoken": 1}
    assert found.parts["lowest"] == "maximal"


def test_steps_are_alone_at_supervision_or_better():
    """Steps done with contact are not alone; the most help is named."""
    helped = {"soap": "independent", "rub": "supervision", "rinse": "contact_guard", "dry": "maximal"}
    raw = {"trials": [{"step": step, "assistance": level} for step, level in helped.items()]}
    found = derive(STEPS, raw)
    assert (found.successes, found.counted, found.value) == (2, 4, Decimal(2))
    assert (found.parts["steps_alone"], found.parts["lowest"]) == (2, "maximal")
    assert found.parts["strata"]["rub"] == {"alone": 1, "assistance": "supervision"}


def test_exemplars_have_levels_of_their_own():
    """Each food has its level by name; the value is the middle one, further from the goal where two are."""
    raw = {"trials": [{"exemplar": "egg", "value": "eats"}, {"exemplar": "pear", "value": "licks"}]}
    found = derive(FOODS, raw)
    assert found.parts["strata"] == {"egg": {"value": "2", "name": "eats"}, "pear": {"value": "1", "name": "licks"}}
    assert (found.value, found.parts["name"]) == (Decimal(1), "licks")


@pytest.mark.parametrize(
    ("values", "value", "censored"),
    [
        pytest.param([("10", None), ("20", None), ("30", "at_least")], "20", None, id="middle-unmoved"),
        pytest.param([("10", None), ("20", "at_least"), ("30", "at_least")], "20", Censored.AT_LEAST, id="middle-open"),
        pytest.param([("10", "at_most"), ("20", None), ("30", None)], "20", None, id="low-end-open"),
    ],
)
def test_censored_values_keep_medians_right(values, value, censored):
    """A median is exact as long as the open values cannot move it."""
    given_trials = [{"value": n} | ({"censored": word} if word else {}) for n, word in values]
    found = derive(MILLIMETRES, {"trials": given_trials})
    assert (found.value, found.censored) == (Decimal(value), censored)


def test_further_components_stand_in_parts():
    """Time and cues beside an accuracy, as strings and integers."""
    goal = make_goal({"kind": "accuracy"}, components=[{"kind": "duration"}, {"kind": "prompts"}])
    raw = {
        "successes": 4,
        "opportunities": 4,
        "components": {"duration": {"value": "600", "censored": "at_least"}, "prompts": {"value": 1}},
    }
    found = derive(goal, raw)
    assert found.parts["components"] == {
        "duration": {"counted": 1, "value": "600", "censored": "at_least"},
        "prompts": {"counted": 1, "value": "1"},
    }
    assert json.loads(json.dumps(found.parts)) == found.parts


def test_nothing_measured_has_a_reason_and_no_number():
    """A reason is never a zero."""
    found = derive(ACCURACY, {"not_measured": "ill", "source": "clinician"})
    assert found.not_measured == NotMeasuredReason.ILL
    assert (found.successes, found.counted, found.value) == (None, None, None)


@pytest.mark.parametrize(
    ("goal", "raw", "code", "pointer"),
    [
        pytest.param(ACCURACY, {}, "empty", "", id="nothing"),
        pytest.param(ACCURACY, [], "wrong_type", "", id="no-object"),
        pytest.param(
            ACCURACY, {"successes": 11, "opportunities": 10}, "more_than_opportunities", "/successes", id="more"
        ),
        pytest.param(ACCURACY, {"successes": -1, "opportunities": 10}, "negative", "/successes", id="negative"),
        pytest.param(ACCURACY, {"successes": 1.0, "opportunities": 10}, "not_whole", "/successes", id="float"),
        pytest.param(ACCURACY, {"successes": True, "opportunities": 10}, "not_whole", "/successes", id="true"),
        pytest.param(ACCURACY, {"successes": 0, "opportunities": 0}, "no_opportunity", "/opportunities", id="of-none"),
        pytest.param(ACCURACY, {"successes": 3}, "opportunities_missing", "/opportunities", id="of-what"),
        pytest.param(ACCURACY, {"successes": 3, "opportunities": 10**9}, "too_large", "/opportunities", id="absurd"),
        pytest.param(ACCURACY, {"trials": []}, "empty", "/trials", id="no-trials"),
        pytest.param(ACCURACY, {"trials": trials(*[True] * 2001)}, "too_many_trials", "/trials", id="2001-trials"),
        pytest.param(ACCURACY, {"trials": "yes"}, "wrong_type", "/trials", id="trials-no-list"),
        pytest.param(ACCURACY, {"trials": [{"success": "yes"}]}, "wrong_type", "/trials/0/success", id="no-boolean"),
        pytest.param(ACCURACY, {"trials": [{"value": "3"}]}, "wrong_form", "/trials/0/value", id="value-of-a-success"),
        pytest.param(
            ACCURACY,
            {"trials": [{"success": True}, {"success": True, "assistance": "a lot"}]},
            "unknown_word",
            "/trials/1/assistance",
            id="unknown-level",
        ),
        pytest.param(
            ACCURACY, {"trials": [{"success": True, "mood": "good"}]}, "unknown_member", "/trials/0/mood", id="member"
        ),
        pytest.param(
            ACCURACY,
            {"trials": [{"success": True, "at": "2026-03-03T09:05:00"}]},
            "naive_time",
            "/trials/0/at",
            id="naive-time",
        ),
        pytest.param(
            ACCURACY,
            {"trials": [{"success": True, "at": "2026-02-30T09:05:00Z"}]},
            "not_a_time",
            "/trials/0/at",
            id="impossible-day",
        ),
        pytest.param(ACCURACY, {"value": "3"}, "wrong_form", "/value", id="wrong-form"),
        pytest.param(
            ACCURACY,
            {"successes": 1, "opportunities": 2, "trials": trials(True)},
            "two_forms",
            "/successes",
            id="two-forms",
        ),
        pytest.param(ACCURACY, {"tally": {"spoken": -2}}, "negative", "/tally/spoken", id="tally-negative"),
        pytest.param(ACCURACY, {"tally": {"a/b": 2}}, "unknown_level", "/tally/a~1b", id="tally-unknown"),
        pytest.param(ACCURACY, {"tally": {}}, "empty", "/tally", id="tally-empty"),
        pytest.param(
            ACCURACY, {"tally": {"spoken": 5}, "opportunities": 4}, "more_than_opportunities", "/tally", id="tally-more"
        ),
        pytest.param(
            ACCURACY,
            {"trials": trials(True), "opportunities": 4},
            "opportunities_differ",
            "/opportunities",
            id="differ",
        ),
        pytest.param(
            ACCURACY, {"not_measured": "ill", "value": "3"}, "measured_and_not", "/value", id="measured-and-not"
        ),
        pytest.param(ACCURACY, {"not_measured": "rain"}, "unknown_word", "/not_measured", id="unknown-reason"),
        pytest.param(
            ACCURACY,
            {"successes": 1, "opportunities": 2, "components": {"duration": {"value": "3"}}},
            "unknown_component",
            "/components/duration",
            id="unknown-component",
        ),
        pytest.param(DURATION, {"value": "-1"}, "negative", "/value", id="negative-seconds"),
        pytest.param(DURATION, {"value": "NaN"}, "not_a_number", "/value", id="nan"),
        pytest.param(DURATION, {"value": float("nan")}, "not_a_number", "/value", id="nan-float"),
        pytest.param(DURATION, {"value": "Infinity"}, "not_a_number", "/value", id="infinity"),
        pytest.param(DURATION, {"value": "1e3"}, "not_a_number", "/value", id="exponent"),
        pytest.param(DURATION, {"value": "٣"}, "not_a_number", "/value", id="other-digits"),
        pytest.param(DURATION, {"value": "604801"}, "too_large", "/value", id="longer-than-a-week"),
        pytest.param(DURATION, {"value": 10**400}, "not_a_number", "/value", id="huge"),
        pytest.param(DURATION, {"value": "3", "censored": "maybe"}, "unknown_word", "/censored", id="censored-how"),
        pytest.param(
            DURATION, {"trials": [{"success": True}]}, "wrong_form", "/trials/0/success", id="no-success-here"
        ),
        pytest.param(
            DURATION,
            {"trials": [{"value": 3, "censored": "at_least"}, {"value": 3, "censored": "at_most"}]},
            "mixed_censoring",
            "/trials",
            id="open-both-ways",
        ),
        pytest.param(RATE, {"value": "3"}, "watched_missing", "/watched", id="rate-of-what"),
        pytest.param(RATE, {"value": "3", "watched": "0"}, "out_of_range", "/watched", id="no-minutes"),
        pytest.param(RATE, {"value": "2.5", "watched": "10"}, "not_whole", "/value", id="half-an-event"),
        pytest.param(TURNS, {"value": "2.5"}, "not_whole", "/value", id="half-a-turn"),
        pytest.param(TURNS, {"trials": [{"value": 1}, {"value": 2}]}, "single_value", "/trials", id="single"),
        pytest.param(HELP, {"value": "superb"}, "not_a_number", "/value", id="unknown-scale-level"),
        pytest.param(HELP, {"value": 8}, "not_a_number", "/value", id="beyond-the-scale"),
        pytest.param(
            HELP, {"value": "minimal", "censored": "at_least"}, "wrong_form", "/censored", id="level-censored"
        ),
        pytest.param(
            FOODS,
            {"trials": [{"exemplar": "rice", "value": "eats"}]},
            "unknown_stratum",
            "/trials/0/exemplar",
            id="food",
        ),
        pytest.param(FOODS, {"trials": [{"value": "eats"}]}, "stratum_missing", "/trials/0/exemplar", id="which-food"),
        pytest.param(
            STEPS,
            {"trials": [{"step": "sing", "success": True}]},
            "unknown_stratum",
            "/trials/0/step",
            id="unknown-step",
        ),
        pytest.param(
            STEPS,
            {"trials": [{"step": "soap", "success": True}, {"step": "soap", "success": True}]},
            "step_twice",
            "/trials/1/step",
            id="step-twice",
        ),
        pytest.param(
            STEPS, {"successes": 2, "opportunities": 5}, "too_many_steps", "/opportunities", id="five-of-four"
        ),
        pytest.param(STEPS, {"tally": {"spoken": 2}}, "unknown_level", "/tally/spoken", id="steps-by-cue"),
        pytest.param(RATING, {"value": "3"}, "too_large", "/value", id="rating-3"),
        pytest.param(RATING, {"value": "0.5"}, "not_whole", "/value", id="half-a-rating"),
        pytest.param(SCORE, {"trials": [{"value": 3}]}, "wrong_form", "/trials", id="score-of-trials"),
        pytest.param(
            SIDES, {"trials": [{"side": "up", "value": 3}]}, "unknown_word", "/trials/0/side", id="no-such-side"
        ),
    ],
)
def test_impossible_measurements_are_refused(goal, raw, code, pointer):
    """What cannot be true, or does not fit the measure, is refused with its code and its place."""
    with pytest.raises(ImpossibleMeasurement) as refusal:
        derive(goal, raw)
    assert (refusal.value.code, refusal.value.pointer) == (code, pointer)
    assert refusal.value.detail.endswith(".")


ALL_GOALS = (
    ACCURACY, DURATION, RATE, PROMPTS, MILLIMETRES, TURNS, HELP, FOODS, STEPS, RATING, SCORE, SIDES,
)  # fmt: skip
WORDS = st.sampled_from(
    [
        "minimal",
        "spoken",
        "none",
        "touch",
        "egg",
        "soap",
        "left",
        "at_least",
        "at_most",
        "success",
        "3",
        "0.5",
        "-1",
        "NaN",
    ]
)
NUMBERS = st.integers(-2, 12) | st.decimals(-5, 5, places=1).map(str) | st.floats() | st.integers() | WORDS
JSON = st.recursive(
    st.none() | st.booleans() | NUMBERS | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5) | WORDS, inner, max_size=3),
    max_leaves=8,
)
HELPED = {"assistance": WORDS, "prompt": WORDS, "side": WORDS, "exemplar": WORDS, "step": WORDS, "censored": WORDS}
TRIALS = st.lists(
    st.fixed_dictionaries({}, optional={"success": st.booleans(), "value": NUMBERS} | HELPED) | JSON, max_size=5
)
FORMS = st.one_of(
    st.fixed_dictionaries({"trials": TRIALS}),
    st.fixed_dictionaries({"tally": st.dictionaries(WORDS, NUMBERS, max_size=4)}),
    st.fixed_dictionaries({"successes": NUMBERS, "opportunities": NUMBERS}),
    st.fixed_dictionaries({"value": NUMBERS}, optional={"censored": WORDS, "watched": NUMBERS}),
)


@given(st.sampled_from(ALL_GOALS), FORMS | JSON)
def test_any_json_is_derived_or_refused(goal, raw):
    """Whatever is sent, there is a number that is possible for its kind or a typed refusal."""
    try:
        found = derive(goal, raw)
    except ImpossibleMeasurement as refusal:
        json.dumps([refusal.code, refusal.pointer, refusal.detail]).encode()
        return
    json.dumps(found.parts, allow_nan=False)
    assert found.not_measured is not None or found.value.is_finite()
    if found.successes is not None:
        assert 0 <= found.successes <= found.counted


@given(st.lists(st.booleans(), min_size=1, max_size=60))
def test_trials_and_counts_say_the_same(outcomes):
    """Trials one by one and their plain count have the same numbers."""
    listed = derive(ACCURACY, {"trials": trials(*outcomes)})
    counted = derive(ACCURACY, {"successes": sum(outcomes), "opportunities": len(outcomes)})
    assert (listed.successes, listed.counted, listed.value) == (counted.successes, counted.counted, counted.value)


def test_every_kind_is_covered_here():
    """The goals of this file are of every kind but intervals, which are counted as accuracy is."""
    assert {goal.measure.kind for goal in ALL_GOALS} == set(MeasureKind) - {MeasureKind.INTERVAL, MeasureKind.LATENCY}


def test_a_criterion_for_another_kind_is_refused_before_it_derives():
    """A clause of a kind that the goal does not measure cannot be read."""
    with pytest.raises(ValueError, match="no such component"):
        read_criterion(
            {
                "clauses": [{"component": "latency", "comparison": "at_most", "value": "3"}],
                "consistency": {"kind": "in_a_row", "k": 1},
            },
            goal=ACCURACY,
        )
