"""The committed OpenAPI document is the one that the code makes; valid, complete, and fit to make clients from."""

import io
import json
import re
from collections import Counter
from collections.abc import Iterator
from contextlib import redirect_stderr
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from jsonschema import Draft202012Validator
from openapi_spec_validator import OpenAPIV31SpecValidator
from referencing import Registry, Resource
from referencing.jsonschema import DRAFT202012

from clinic.api.examples import EXAMPLES
from clinic.api.problems import INVALID, TITLES
from clinic.api.schema import PROBLEMS
from clinic.api_codes import WHAT_TO_DO
from clinic.rules.signatures import VerdictRefusal
from scheduling.rules.visits import BookingRefusal
from tests.architecture.doors import BASE, METHODS, every_door

TOP = Path(__file__).resolve().parents[2]
WRITE_IT = "manage.py spectacular --validate --fail-on-warn --format openapi-json --file openapi.json"
# Names that generators of clients take for their own.
TAKEN = {"client", "response", "error", "file", "unset"}


@pytest.fixture(scope="module")
def generated(tmp_path_factory) -> dict[str, Any]:
    """The document as the code makes it now; a warning fails."""
    file, told = tmp_path_factory.mktemp("openapi") / "openapi.json", io.StringIO()
    with redirect_stderr(told):
        call_command(
            "spectacular", "--validate", "--fail-on-warn", "--format", "openapi-json", "--file", str(file), stderr=told
        )
    assert told.getvalue() == ""
    return json.loads(file.read_text())


def operations(document: dict[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    for path, item in document["paths"].items():
        for method, operation in item.items():
            yield path, method.upper(), operation


def test_the_committed_document_is_the_code_s(generated):
    """Whoever reads openapi.json in the repository reads what the service answers."""
    committed = TOP / "openapi.json"
    assert committed.exists(), f"Write it: {WRITE_IT}"
    assert json.loads(committed.read_text()) == generated, f"The routes have changed. Write it anew: {WRITE_IT}"


def test_the_served_document_is_the_committed_one(generated, client):
    """The service answers the same document at its own address."""
    assert client.get("/api/v1/openapi.json").json() == generated


def test_the_document_is_valid(generated):
    """By the validator of the OpenAPI 3.1 specification's own schema (openapi-spec-validator)."""
    assert generated["openapi"].startswith("3.1")
    assert [error.message for error in OpenAPIV31SpecValidator(generated).iter_errors()] == []


def test_a_broken_document_is_not_valid(generated):
    """The control: a document that lacks what the specification asks for is found."""
    broken = {**generated, "info": {"title": "No version"}}
    assert [error.message for error in OpenAPIV31SpecValidator(broken).iter_errors()] != []


def test_every_door_is_in_the_document_and_nothing_else(generated):
    """No route goes undocumented, no operation is a ghost."""
    documented = {(path, method) for path, method, _ in operations(generated)}
    offered = {
        (f"/{BASE}{route}".replace("<uuid:id>", "{id}"), method)
        for route, view in every_door().items()
        for method in METHODS
        if method in view.actions
    }
    assert documented == offered


def test_operation_ids_make_function_names(generated):
    """Each operation has a name of its own, in small letters and underscores."""
    ids = [operation["operationId"] for _, _, operation in operations(generated)]
    assert [name for name, count in Counter(ids).items() if count > 1] == []
    assert [name for name in ids if not re.fullmatch(r"[a-z_]+", name)] == []


def test_component_names_make_class_names(generated):
    """No two components differ by case alone, and none bears a name that generated clients use themselves."""
    names = [name.lower() for name in generated["components"]["schemas"]]
    assert [name for name, count in Counter(names).items() if count > 1] == []
    assert TAKEN & set(names) == set()


@pytest.mark.parametrize("member", ["summary", "description"])
def test_every_operation_says_what_it_does(generated, member):
    """In words, for whoever reads the documentation without the code."""
    silent = [operation["operationId"] for _, _, operation in operations(generated) if not operation.get(member)]
    assert silent == []


def test_every_operation_names_its_refusals(generated):
    """Each status that a method may refuse with is described, as a problem document."""
    for _, method, operation in operations(generated):
        expected = set(PROBLEMS[method])
        assert expected - set(operation["responses"]) == set(), operation["operationId"]
        for code in expected:
            assert "application/problem+json" in operation["responses"][code]["content"], operation["operationId"]


def examples(node: Any) -> Iterator[tuple[dict[str, Any], Any]]:
    """Each example in the document beside the schema of what it is an example of."""
    if isinstance(node, dict):
        if "schema" in node and isinstance(node.get("examples"), dict):
            for shown in node["examples"].values():
                yield node["schema"], shown["value"]
        for child in node.values():
            yield from examples(child)
    elif isinstance(node, list):
        for child in node:
            yield from examples(child)


def faults(document: dict[str, Any], schema: dict[str, Any], value: Any) -> list[str]:
    """What the schema, read within the document, has against the value."""
    whole = Registry().with_resource("urn:document", Resource(document, DRAFT202012))
    rooted = json.loads(json.dumps(schema).replace('"#/', '"urn:document#/'))
    checker = Draft202012Validator.FORMAT_CHECKER
    return [
        error.message
        for error in Draft202012Validator(rooted, registry=whole, format_checker=checker).iter_errors(value)
    ]


def test_every_example_is_one(generated):
    """What the documentation shows would be taken, or could be answered."""
    wrong = [(value, found) for schema, value in examples(generated) if (found := faults(generated, schema, value))]
    assert wrong == []
    assert len(list(examples(generated))) >= len(EXAMPLES)


def test_a_wrong_example_would_be_seen(generated):
    """The control: a text where a number is asked for is found, through the reference to its component."""
    reference = {"$ref": "#/components/schemas/ClientRecord"}
    right = EXAMPLES["ClientRecord"]
    assert faults(generated, reference, right) == []
    assert faults(generated, reference, {**right, "version": "one"}) != []


def test_every_body_that_is_taken_has_an_example(generated):
    """Whoever tries an operation finds a body to begin with."""
    bodies = {
        op["operationId"]: op["requestBody"]["content"] for _, _, op in operations(generated) if "requestBody" in op
    }
    assert [name for name, content in bodies.items() if not content["application/json"].get("examples")] == []


def raised_codes() -> set[str]:
    """Every code that the sources write down as a literal: of a problem, of a title, or of a rule's refusal."""
    found = {code for code, _ in [*TITLES.values(), INVALID]} | {
        word.value for word in (*BookingRefusal, *VerdictRefusal)
    }
    for place in ("clinic", "goals", "scheduling"):
        for source in (TOP / place).rglob("*.py"):
            found |= set(re.findall(r'code ?= ?"([a-z_]+)"', source.read_text()))
    return found


def test_codes_that_are_documented_are_answered(generated):
    """No documented code is a word that the service does not know, and each stands in the description."""
    assert sorted(set(WHAT_TO_DO) - raised_codes()) == []
    assert [code for code in WHAT_TO_DO if f"`{code}`" not in generated["info"]["description"]] == []


def test_every_list_of_words_is_told_without_repeating_them(generated):
    """A list of words says what it is about, or nothing; never each word as its own meaning."""
    assert [name for name, found in generated["components"]["schemas"].items() if "* `" in json.dumps(found)] == []
    assert generated["components"]["schemas"]["PromptKind"]["description"].startswith("What kind of cue the child had")


def test_a_measurement_is_described_member_by_member(generated):
    """Notes and addenda take the same measurements, each member of which says what it is for."""
    schemas = generated["components"]["schemas"]
    for body in ("NoteRequest", "AddendumRequest"):
        assert schemas[body]["properties"]["measurements"]["items"] == {
            "$ref": "#/components/schemas/MeasurementRequest"
        }
    silent = [
        f"{name}.{member}"
        for name in ("MeasurementRequest", "TrialRequest", "MeasureRequest", "ClauseRequest", "ConsistencyRequest")
        for member, found in schemas[name]["properties"].items()
        if not found.get("description") and "$ref" not in found
    ]
    assert silent == []
