"""The organization's note templates: put, named anew, retired; their wording stays."""

import pytest

from clinic.enums import Role
from tests import factories as make
from tests.scheduling.flow import Flow

pytestmark = pytest.mark.django_db

WORDING = {"name": "At the table", "objective": "Seated at the table.\nFeet supported.", "plan": "Go on."}


@pytest.fixture
def flow():
    return Flow()


def put(flow, body=WORDING, *, row_id: str | None = None, api=None, **headers):
    return (api or flow.ruth).put(f"/api/v1/note-templates/{row_id or make.new_id()}/", body, format="json", **headers)


def test_what_is_put_is_what_is_shown(flow):
    """To everybody who documents; sections left out are empty."""
    made = put(flow)
    assert made.status_code == 201, made.content
    (row,) = flow.ana.get("/api/v1/note-templates/").json()["results"]
    assert row == {
        "id": row["id"],
        "version": 1,
        "subjective": "",
        "assessment": "",
        "retired_on": None,
        **WORDING,
    }


def test_the_wording_stays(flow):
    """A name and its last day change; another wording is another template."""
    row_id = make.new_id()
    put(flow, row_id=row_id)
    changed = flow.ruth.patch(
        f"/api/v1/note-templates/{row_id}/",
        {"name": "Seated", "retired_on": "2026-09-01"},
        format="json",
        HTTP_IF_MATCH='"1"',
    )
    assert (changed.status_code, changed.json()["name"], changed.json()["retired_on"]) == (200, "Seated", "2026-09-01")
    refused = put(flow, {**WORDING, "plan": "Stop."}, row_id=row_id, HTTP_IF_MATCH='"2"')
    assert (refused.status_code, refused.json()["errors"][0]["code"]) == (422, "fixed")


@pytest.mark.parametrize(
    ("body", "code"),
    [
        pytest.param({"name": "Empty"}, "empty", id="nothing"),
        pytest.param({"name": "Empty", "plan": ""}, "empty", id="an-empty-section"),
        pytest.param({**WORDING, "minutes": 45}, "unknown_member", id="an-unknown-member"),
    ],
)
def test_what_is_refused(flow, body, code):
    """400, and no template."""
    answer = put(flow, body)
    assert (answer.status_code, answer.json()["errors"][0]["code"]) == (400, code)
    assert flow.ana.get("/api/v1/note-templates/").json()["results"] == []


def test_a_name_is_taken_once(flow):
    """409 in the organization, free in another."""
    put(flow)
    again = put(flow)
    assert (again.status_code, again.json()["code"]) == (409, "template_name_taken")
    assert put(Flow()).status_code == 201


def test_who_words_them(flow):
    """Therapists and administrators; not an assistant, and the front desk does not even read."""
    assert put(flow, api=flow.ana).status_code == 403
    _, ida = flow.person("Ida Roth", Role.ADMINISTRATOR)
    assert put(flow, api=ida).status_code == 201
    _, desk = flow.person("Uta Lang", Role.FRONT_DESK)
    assert desk.get("/api/v1/note-templates/").status_code == 403
