"""Every documented sample: its goal is proposed and its numbers are put in a note, just as the documentation shows."""

import json
from collections.abc import Iterator
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from referencing import Registry, Resource
from referencing.jsonschema import DRAFT202012

from goals.api.measurement_form import MeasurementIn, NumbersIn, TrialIn
from goals.api.sample_goals import SAMPLES, SCALE
from goals.enums import MeasureKind
from goals.models import Goal
from goals.progress.forms import form_of
from goals.progress.measures import MEMBERS, NUMBER_MEMBERS
from goals.progress.reading import read_measure
from goals.progress.trials import TRIAL_MEMBERS
from tests import factories as make
from tests.scheduling.flow import Flow

pytestmark = pytest.mark.django_db
DAY = "2026-03-31"
LEVELS = ["not in sight", "in sight", "near", "touches", "licks", "bites"]
ALWAYS = {"goal"}


def with_scale(body: Any, scale: str) -> Any:
    return json.loads(json.dumps(body).replace(SCALE, scale))


@pytest.fixture
def flow():
    return Flow()


@pytest.fixture
def scale(flow):
    row = make.new_id()
    answer = flow.ruth.put(f"/api/v1/scales/{row}/", {"name": "New foods", "levels": LEVELS}, format="json")
    assert answer.status_code == 201, answer.content
    return row


def test_there_is_a_sample_of_every_kind():
    """No kind of measure is left to guessing."""
    assert {sample.measure["kind"] for sample in SAMPLES.values()} == {kind.value for kind in MeasureKind}


def test_the_documented_members_are_those_that_are_judged():
    """What the form names is read, and what is read is named: of a measurement, of a component, of a trial."""
    assert set(MeasurementIn().fields) == MEMBERS | {"replaces"}
    assert set(NumbersIn().fields) == NUMBER_MEMBERS
    assert set(TrialIn().fields) == TRIAL_MEMBERS


@pytest.mark.parametrize("shown", list(SAMPLES))
def test_a_sample_is_proposed_and_measured(flow, scale, shown):
    """The goal answers 201 with the kind that it counts; the note answers 201 and keeps the numbers as they were."""
    sample = SAMPLES[shown]
    goal = make.new_id()
    proposed = flow.ruth.put(
        f"/api/v1/goals/{goal}/", with_scale(sample.body(str(flow.episode.pk)), scale), format="json"
    )
    assert proposed.status_code == 201, proposed.content
    assert proposed.json()["measure"]["kind"] == sample.measure["kind"]
    part = flow.visit(DAY)
    body = {"participation": part, "measurements": [sample.measurement(goal)]}
    note = flow.ana.put(f"/api/v1/notes/{make.new_id()}/", body, format="json")
    assert note.status_code == 201, note.content
    assert note.json()["draft"]["measurements"] == [{"goal": goal, **sample.numbers}]


def measurement_schema(client) -> tuple[dict[str, Any], Registry]:
    document = client.get("/api/v1/openapi.json").json()
    whole = Registry().with_resource("urn:document", Resource(document, DRAFT202012))
    return {"$ref": "urn:document#/components/schemas/MeasurementRequest"}, whole


def wrong() -> Iterator[tuple[str, dict[str, Any]]]:
    yield "a fraction of a success", {"successes": 8.5, "opportunities": 10}
    yield "a negative count", {"successes": -1, "opportunities": 10}
    yield "a word nobody knows", {"value": 3, "censored": True}
    yield "a reason nobody knows", {"not_measured": "tired"}


@pytest.mark.parametrize(("told", "numbers"), list(wrong()))
def test_the_schema_refuses_what_is_refused(client, told, numbers):
    """The control of the samples, which all fit: a tablet that checks by the schema is told before she sends."""
    schema, whole = measurement_schema(client)
    goal = {"goal": "0198a1f0-0000-7000-8000-0000000000e1"}
    assert list(Draft202012Validator(schema, registry=whole).iter_errors({**goal, **numbers})) != []
    assert Goal.objects.count() == 0


MISTAKES = [
    pytest.param(
        "ordered: level of assistance",
        {"value": "min"},
        "/value",
        "not_a_number",
        "The value is a level, by name or by its place from 0: total, maximal, moderate, minimal, contact_guard, "
        "supervision, modified_independent, independent.",
        id="a level's short name",
    ),
    pytest.param(
        "ordered: a scale of the organization, several exemplars",
        {"trials": [{"exemplar": "bananna", "value": "licks"}]},
        "/trials/0/exemplar",
        "unknown_stratum",
        "This measure has no exemplar of that name; known are: banana, rice, carrot.",
        id="a misspelt food",
    ),
    pytest.param(
        "ordered: a scale of the organization, several exemplars",
        {"value": "licks"},
        "/value",
        "stratum_missing",
        "This measure tells each exemplar apart: write trials, each with its exemplar.",
        id="no food named",
    ),
    pytest.param(
        "accuracy: so many of so many",
        {"value": "0.8"},
        "/value",
        "wrong_form",
        "The kind accuracy is written down as trials or a tally or successes and opportunities.",
        id="a percentage",
    ),
    pytest.param(
        "rating: five described levels",
        {"trials": [{"value": 1}]},
        "/trials",
        "wrong_form",
        "The kind rating is written down as a value.",
        id="trials of a rating",
    ),
    pytest.param(
        "prompts",
        {"tally": {"verbal": 1}},
        "/tally/verbal",
        "unknown_level",
        "A tally of the kind prompts has: none, gesture, visual, spoken, model, touch.",
        id="another word for spoken",
    ),
    pytest.param(
        "accuracy: so many of so many",
        {"successes": 0, "opportunities": 0},
        "/opportunities",
        "no_opportunity",
        "No opportunity is no zero: send not_measured with no_opportunity instead.",
        id="none of none",
    ),
    pytest.param(
        "quantity: things counted",
        {"value": "2.5"},
        "/value",
        "not_whole",
        "A value of the kind quantity must be a whole number.",
        id="half a turn",
    ),
]


@pytest.mark.parametrize(("shown", "numbers", "pointer", "code", "detail"), MISTAKES)
def test_a_mistake_is_told_with_what_to_do(flow, scale, shown, numbers, pointer, code, detail):
    """The refusal names what is known here, so that nobody needs the manual to go on."""
    goal = make.new_id()
    flow.ruth.put(f"/api/v1/goals/{goal}/", with_scale(SAMPLES[shown].body(str(flow.episode.pk)), scale), format="json")
    body = {"participation": flow.visit(DAY), "measurements": [{"goal": goal, **numbers}]}
    answer = flow.ana.put(f"/api/v1/notes/{make.new_id()}/", body, format="json")
    assert answer.status_code == 422
    assert answer.json()["errors"] == [{"pointer": f"/measurements/0{pointer}", "code": code, "detail": detail}]


def test_a_member_nobody_knows_is_answered_with_those_that_are_known(flow):
    """A misspelt `successes` brings the list."""
    goal = flow.goal()
    body = {"participation": flow.visit(DAY), "measurements": [{"goal": str(goal.pk), "sucesses": 1}]}
    told = flow.ana.put(f"/api/v1/notes/{make.new_id()}/", body, format="json").json()["errors"][0]
    assert (told["pointer"], told["code"]) == ("/measurements/0/sucesses", "unknown_member")
    assert "successes" in told["detail"]


def test_each_form_named_is_a_form():
    """The control: every sample but the one of nothing measured is in a form of its kind, by the rules themselves."""
    for shown, sample in SAMPLES.items():
        if "not_measured" in sample.numbers or sample.measure.get("scale") == SCALE:
            continue
        assert form_of(read_measure(_plain(sample.measure)), sample.numbers, pointer="") in sample.numbers, shown


def _plain(measure: dict[str, Any]) -> dict[str, Any]:
    aside = {"levels", "standard_error"}
    return {name: value for name, value in measure.items() if name not in aside}
