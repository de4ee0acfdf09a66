"""A note's measurements: what is impossible is pointed at, and what is derived fits the table of every kind."""

from datetime import date
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from clinic.enums import Setting
from clinic.errors import InvalidField
from goals.models import Measurement
from tests import factories as make
from tests.goals.team import VISIT_DAYS, clause, criterion, make_goal, make_note, make_team

pytestmark = pytest.mark.django_db
DAY = VISIT_DAYS[0]


def judge(team: Any, raws: Any, **over: Any) -> Any:
    given = {"actor_organization": team.organization.pk, "episode": team.episode, "service_date": DAY, **over}
    return make.measuring.judge(raws=raws, **given)


def refusal(team: Any, raws: Any, **over: Any) -> list[tuple[str, str]]:
    with pytest.raises(InvalidField) as refused:
        judge(team, raws, **over)
    assert refused.value.status == 422
    return [(error["pointer"], error["code"]) for error in refused.value.errors]


@pytest.mark.parametrize(
    ("sheet", "pointer", "code"),
    [
        pytest.param({"successes": 11, "opportunities": 10}, "/successes", "more_than_opportunities", id="too many"),
        pytest.param({"successes": -1, "opportunities": 10}, "/successes", "negative", id="negative"),
        pytest.param({"successes": 1.5, "opportunities": 10}, "/successes", "not_whole", id="a float"),
        pytest.param({"successes": True, "opportunities": 10}, "/successes", "not_whole", id="a flag"),
        pytest.param({"successes": "NaN", "opportunities": 10}, "/successes", "not_whole", id="NaN"),
        pytest.param({"successes": 1}, "/opportunities", "opportunities_missing", id="no opportunities"),
        pytest.param({"successes": 0, "opportunities": 0}, "/opportunities", "no_opportunity", id="none offered"),
        pytest.param({}, "", "empty", id="nothing at all"),
        pytest.param({"value": "3"}, "/value", "wrong_form", id="a value of an accuracy"),
        pytest.param({"trials": []}, "/trials", "empty", id="no trials"),
        pytest.param({"trials": [{"success": True}] * 2001}, "/trials", "too_many_trials", id="2001 trials"),
        pytest.param({"trials": [{"success": True, "x": 1}]}, "/trials/0/x", "unknown_member", id="unknown in a trial"),
        pytest.param({"successes": 1, "opportunities": 2, "x": 1}, "/x", "unknown_member", id="unknown member"),
        pytest.param(
            {"successes": 1, "opportunities": 2, "setting": "a\u0000b"}, "/setting", "not_a_name", id="NUL in a setting"
        ),
        pytest.param(
            {"successes": 1, "opportunities": 2, "partner": "\ud800"}, "/partner", "not_a_name", id="lone surrogate"
        ),
        pytest.param(
            {"successes": 1, "opportunities": 2, "observer": "x" * 100_000}, "/observer", "not_a_name", id="too long"
        ),
        pytest.param(
            {"successes": 1, "opportunities": 2, "observed_from": "2026-03-03T09:00:00"},
            "/observed_from",
            "naive_time",
            id="naive time",
        ),
        pytest.param(
            {"successes": 1, "opportunities": 2, "observed_from": "2026-02-30T09:00:00Z"},
            "/observed_from",
            "not_a_time",
            id="impossible day",
        ),
        pytest.param({"successes": 1, "opportunities": 2, "slot": 0}, "/slot", "out_of_range", id="slot zero"),
        pytest.param({"successes": 1, "opportunities": 2, "slot": "1"}, "/slot", "out_of_range", id="slot in words"),
        pytest.param({"successes": 1, "opportunities": 2, "source": "guess"}, "/source", "unknown_word", id="source"),
        pytest.param({"not_measured": "ill", "value": "1"}, "/value", "measured_and_not", id="ill, and a number"),
        pytest.param({"not_measured": "lazy"}, "/not_measured", "unknown_word", id="unknown reason"),
        pytest.param(
            {"successes": 1, "opportunities": 2, "components": {"duration": {"value": "1"}}},
            "/components/duration",
            "unknown_component",
            id="unknown component",
        ),
        pytest.param(
            {"successes": 1, "opportunities": 2, "replaces": "0198a1f0-0000-7000-8000-0000000000aa"},
            "/replaces",
            "not_found",
            id="replaces without an addendum",
        ),
    ],
)
def test_an_impossible_measurement_is_pointed_at(sheet, pointer, code):
    """The place and the code of what cannot be true; the sound measurement beside it is not blamed."""
    team = make_team()
    goal_id = make_goal(team)
    sound = {"goal": make_goal(team), "successes": 1, "opportunities": 2}
    assert refusal(team, [sound, {"goal": goal_id, **sheet}]) == [(f"/measurements/1{pointer}", code)]


@pytest.mark.parametrize(
    ("raws", "pointer", "code"),
    [
        pytest.param({"goal": 1}, "/measurements", "wrong_type", id="an object"),
        pytest.param("x", "/measurements", "wrong_type", id="a string"),
        pytest.param(None, "/measurements", "wrong_type", id="null"),
        pytest.param([{}] * 201, "/measurements", "too_many", id="201 of them"),
        pytest.param([3], "/measurements/0", "wrong_type", id="a number in the list"),
        pytest.param([{"successes": 1}], "/measurements/0/goal", "missing", id="no goal"),
        pytest.param([{"goal": []}], "/measurements/0/goal", "not_found", id="a list for a goal"),
        pytest.param([{"goal": "x" * 36}], "/measurements/0/goal", "not_found", id="no UUID"),
        pytest.param([{"goal": make.new_id()}], "/measurements/0/goal", "not_found", id="unknown goal"),
    ],
)
def test_a_broken_list_of_measurements_is_refused(raws, pointer, code):
    """Whatever stands where measurements belong, there is one clear refusal."""
    assert refusal(make_team(), raws) == [(pointer, code)]


def test_a_goal_out_of_the_episode_answers_as_one_that_is_not_there():
    """Another child's, another episode's and another organization's goal are refused alike."""
    team, elsewhere = make_team(), make_team(name="Elsewhere")
    brother = make.make_client(team.site)
    of_brother, at_school = make.make_episode(brother), make.make_episode(team.child, setting=Setting.SCHOOL.value)
    make.put_on_team(team.assistant, of_brother)
    make.put_on_team(team.assistant, at_school)
    goals = [
        make_goal(team, episode=str(of_brother.pk)),
        make_goal(team, episode=str(at_school.pk)),
        make_goal(elsewhere),
    ]
    raws = [{"goal": goal_id, "successes": 1, "opportunities": 2} for goal_id in goals]
    assert refusal(team, raws) == [(f"/measurements/{place}/goal", "not_found") for place in range(3)]
    assert Measurement.objects.count() == 0


def test_a_goal_and_slot_stand_once_in_a_note():
    """Two measurements of one goal need two slots."""
    team = make_team()
    raw = {"goal": make_goal(team), "successes": 1, "opportunities": 2}
    assert refusal(team, [raw, raw]) == [("/measurements/1/slot", "doubled")]
    assert [each.slot for each in judge(team, [raw, {**raw, "slot": 2}])] == [1, 2]


def test_a_goal_of_any_status_can_be_measured():
    """The record never refuses the truth: a cancelled goal's numbers are taken."""
    team = make_team()
    goal_id = make_goal(team)
    answer = make.signed_in(team.therapist).post(
        f"/api/v1/goals/{goal_id}/cancel/", {"reason": "Another goal first"}, HTTP_IF_MATCH='"1"'
    )
    assert answer.json()["lifecycle"] == "cancelled"
    assert len(judge(team, [{"goal": goal_id, "successes": 1, "opportunities": 2}])) == 1


def test_help_beyond_the_cap_of_the_day_is_no_success():
    """Successes are those within the primary clause in force on the service date."""
    team = make_team()
    capped = clause("accuracy", "at_least", "0.8", most_assistance="minimal")
    goal_id = make_goal(team, criterion=criterion(capped))
    trials = [{"success": True, "assistance": level} for level in ("supervision", "minimal", "maximal")]
    raws = [{"goal": goal_id, "trials": trials}]
    assert [(each.derived.successes, each.derived.counted) for each in judge(team, raws)] == [(2, 3)]
    before = judge(team, raws, service_date=date(2026, 2, 25))
    assert [(each.derived.successes, each.derived.counted) for each in before] == [(3, 3)]


FIVE = ["much less", "less", "expected", "more", "much more"]
KINDS = {
    "accuracy by trials": (
        {"kind": "accuracy", "strata": "side"},
        [{"trials": [{"success": True, "side": "left"}, {"success": False, "side": "right"}]}],
        (1, 2, "0.5", None),
    ),
    "accuracy by tally": (
        {"kind": "accuracy"},
        [{"tally": {"independent": 6, "spoken": 3, "touch": 1}}],
        (6, 10, "0.6", None),
    ),
    "none right": ({"kind": "accuracy"}, [{"successes": 0, "opportunities": 3}], (0, 3, "0", None)),
    "interval": (
        {"kind": "interval", "interval_method": "partial"},
        [{"successes": 7, "opportunities": 8}],
        (7, 8, "0.875", None),
    ),
    "steps": (
        {"kind": "steps", "names": ["one", "two", "three"]},
        [{"trials": [{"step": "one", "success": True}, {"step": "two", "assistance": "maximal"}]}],
        (1, 2, "1", None),
    ),
    "duration, censored": (
        {"kind": "duration", "unit": "min"},
        [{"value": "10", "censored": "at_least"}],
        (None, 1, "10", "at_least"),
    ),
    "latency, mean": (
        {"kind": "latency", "unit": "s", "visit_value": "mean"},
        [{"trials": [{"value": "1"}, {"value": "1"}, {"value": "2"}]}],
        (None, 3, "1.333333333333", None),
    ),
    "rate": ({"kind": "rate", "per_minutes": "30"}, [{"value": 8, "watched": 20}], (None, None, "12", None)),
    "prompts by tally": ({"kind": "prompts"}, [{"tally": {"none": 3, "spoken": 2}}], (None, 1, "2", None)),
    "quantity below zero": ({"kind": "quantity", "unit": "Cel"}, [{"value": "-4.5"}], (None, 1, "-4.5", None)),
    "quantity at its largest": (
        {"kind": "quantity", "unit": "mm", "visit_value": "sum"},
        [{"trials": [{"value": "999999999.999999999999"}] * 2000}],
        (None, 2000, "1999999999999.999999998", None),
    ),
    "ordered by exemplar": (
        {"kind": "ordered", "scale": "assistance", "strata": "exemplar"},
        [{"trials": [{"exemplar": "spoon", "value": "minimal"}, {"exemplar": "fork", "value": "total"}]}],
        None,
    ),
    "rating": ({"kind": "rating", "levels": FIVE}, [{"value": -2}], (None, 1, "-2", None)),
    "score": ({"kind": "score"}, [{"value": "-1.5"}], (None, 1, "-1.5", None)),
    "refused": ({"kind": "rate"}, [{"not_measured": "refused"}], (None, None, None, None)),
}
VALUES = {"ordered": "minimal", "rating": "0", "accuracy": "0.8", "interval": "0.8"}


@pytest.mark.parametrize("name", KINDS)
def test_what_is_derived_is_what_the_table_takes(name):
    """Every kind's derived numbers pass the table's own check, and come back exactly."""
    measure, sheets, expected = KINDS[name]
    team = make_team()
    judged_by = criterion(clause(measure["kind"], "at_least", VALUES.get(measure["kind"], "1")))
    goal_id = make_goal(team, measure=measure, criterion=judged_by)
    make_note(team, goal_id, DAY, *sheets)
    row = Measurement.objects.get()
    assert row.trials == {key: value for key, value in sheets[0].items() if key != "not_measured"}
    if expected is not None:
        shown = None if row.value is None else format(row.value.normalize(), "f")
        assert (row.successes, row.counted, shown, row.censored) == expected


def test_judging_and_writing_cost_the_same_for_one_and_for_twenty():
    """No query in a loop."""
    team = make_team()
    goals = [make_goal(team) for _ in range(20)]

    def cost(number: int) -> int:
        raws = [{"goal": goal_id, "successes": 1, "opportunities": 2} for goal_id in goals[:number]]
        with CaptureQueriesContext(connection) as asked:
            make.make_signed_note(team.assistant, team.episode, service_date=DAY, measurements=raws)
        return len(asked)

    assert cost(1) == cost(20)
