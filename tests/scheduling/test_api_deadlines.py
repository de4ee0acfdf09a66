"""What is due, to whom and why, as it is shown; and a school's reporting periods."""

import pytest

from clinic.enums import Role
from scheduling.models import Deadline
from scheduling.services import clocks
from tests import factories as make
from tests.scheduling.flow import Flow

pytestmark = pytest.mark.django_db


@pytest.fixture
def flow():
    return Flow()


def held(flow, day):
    """A visit that was held on this day, and what follows from it."""
    part = flow.visit(day)
    flow.step(part, "check-in", at=f"{day} 09:50")
    flow.step(part, "finish", at=f"{day} 09:51")
    clocks.follow([flow.episode.pk], now=make.at(f"{day} 20:00"))
    return part


def due(flow, *, at, api=None, **asked):
    answer = flow.get("deadlines/", at=at, api=api, **asked)
    assert answer.status_code == 200, answer.content
    return answer.json()["results"]


def test_a_note_is_due_then_overdue_then_met(flow):
    """Of Monday the 2nd, by Wednesday the 4th; the day is the site's, not Greenwich's."""
    part = held(flow, "2026-03-02")
    states = [due(flow, at=f"2026-03-{day}", rule="note")[0]["state"] for day in ("03 09:00", "04 23:30", "05 00:30")]
    assert states == ["upcoming", "due", "overdue"]
    note = flow.put(part, [], at="2026-03-05 09:00")
    flow.sign(note, at="2026-03-05 09:05")
    clocks.follow([flow.episode.pk], now=make.at("2026-03-05 10:00"))
    (row,) = due(flow, at="2026-03-05 10:00", rule="note")
    assert (row["state"], row["closed_on"], row["responsible"]) == ("met_late", "2026-03-05", str(flow.assistant.pk))


def test_it_says_why(flow):
    held(flow, "2026-03-02")
    (row,) = due(flow, at="2026-03-03 09:00", rule="progress_report")
    assert row["because"] == (
        "Counted from the period that began on 2 Mar 2026, 1 of 10 treatment days. "
        "Rule: CMS Pub. 100-02 ch. 15 §220.3.D."
    )
    assert (row["counted"], row["target"], row["statutory"]) == (1, 10, True)
    assert "verified locally" in row["caution"]


def test_each_state_is_asked_for_and_what_is_due_first_comes_first(flow):
    for day in ("2026-03-02", "2026-03-04"):
        held(flow, day)
    overdue = due(flow, at="2026-03-05 09:00", state="overdue")
    assert [row["due_on"] for row in overdue] == ["2026-03-04"]
    upcoming = due(flow, at="2026-03-05 09:00", state="upcoming")
    assert [row["rule"] for row in upcoming] == ["note", "progress_report"]
    assert due(flow, at="2026-03-05 09:00", state="met") == []


def test_mine_are_those_that_i_owe(flow):
    held(flow, "2026-03-02")
    assert {row["rule"] for row in due(flow, at="2026-03-03 09:00", mine="true")} == {"note"}
    assert {row["rule"] for row in due(flow, at="2026-03-03 09:00", api=flow.ruth, mine="true")} == {"progress_report"}


def test_another_child_s_clocks_are_not_shown(flow):
    held(flow, "2026-03-02")
    _, other = flow.person("Iva Lindqvist", Role.ASSISTANT)
    assert due(flow, at="2026-03-03 09:00", api=other) == []
    row = Deadline.objects.first()
    assert flow.get(f"deadlines/{row.pk}/", at="2026-03-03 09:00", api=other).status_code == 404


def test_reporting_periods_of_one_school_do_not_overlap(flow):
    _, admin = flow.person("Ines Ahlberg", Role.ADMINISTRATOR)
    period = {"site": str(flow.site.pk), "name": "Autumn", "starts_on": "2026-09-01", "ends_on": "2026-11-13"}

    def put(**over):
        return admin.put(f"/api/v1/reporting-periods/{make.new_id()}/", {**period, **over}, format="json")

    assert put().status_code == 201
    again = put(name="Winter", starts_on="2026-11-13", ends_on="2027-02-05")
    assert (again.status_code, again.json()["code"]) == (409, "reporting_periods_overlap")
    assert put(starts_on="2026-12-01", ends_on="2026-11-14").status_code == 422
