"""What really happened can be entered: who stepped in, when a child left, and what cannot have been is refused."""

import pytest

from clinic.enums import Role
from clinic.models import CareTeam
from scheduling.models import Booking, Visit
from tests import factories as make
from tests.scheduling.flow import Flow

pytestmark = pytest.mark.django_db
DAY = "2026-03-31"
NINE = f"{DAY} 09:00"


@pytest.fixture
def flow():
    return Flow()


@pytest.fixture
def part(flow):
    return flow.visit(DAY)


def visit_of(flow, part):
    return Visit.objects.get(pk=flow.part(part).visit_id)


def put_right(flow, part, *staff, at=f"{DAY} 11:00", start=NINE, **over):
    """The visit put again with these people."""
    visit = visit_of(flow, part)
    return flow.book(
        start, at=at, visit=str(visit.pk), match=visit.version, staff=[str(each.pk) for each in staff], **over
    )


def held(visit):
    rows = Booking.objects.filter(visit=visit).order_by("pk")
    return [(row.staff_id, row.live, row.superseded) for row in rows if row.staff_id]


def note_by(flow, api, part):
    body = {"participation": part, "objective": "At the table."}
    return api.put(f"/api/v1/notes/{make.new_id()}/", body, format="json")


@pytest.mark.parametrize("step", ["check-in", "finish"])
def test_a_colleague_who_stepped_in_documents_the_visit(flow, part, step):
    """The desk had checked in, or finished, Ana's visit: Ruth treated. The visit says so, and Ruth writes its note."""
    assert flow.step(part, step, at=f"{DAY} 09:40").status_code == 200
    assert note_by(flow, flow.ruth, part).json()["code"] == "not_own_visit"
    answer = put_right(flow, part, flow.supervisor)
    assert (answer.status_code, answer.json()["staff"]) == (200, [str(flow.supervisor.pk)])
    assert note_by(flow, flow.ruth, part).status_code == 201
    assert note_by(flow, flow.ana, part).json()["code"] == "not_own_visit"
    given = CareTeam.objects.filter(source_id=visit_of(flow, part).pk)
    assert {row.staff_id: row.ends_on is None for row in given} == {
        flow.assistant.pk: False,
        flow.supervisor.pk: True,
    }


def test_a_second_pair_of_hands_is_named_though_booked_elsewhere(flow, part):
    """Her other booking at that hour refuses nothing; the time is not held for her twice."""
    elsewhere = flow.another_child("Teo", flow.supervisor)
    other = {"children": [{"episode": str(elsewhere.pk)}], "staff": [str(flow.supervisor.pk)]}
    assert flow.book(NINE, at="2026-03-30 08:00", api=flow.ruth, **other).status_code == 201
    flow.step(part, "finish", at=f"{DAY} 09:45")
    answer = put_right(flow, part, flow.assistant, flow.supervisor)
    assert (answer.status_code, answer.json()["staff"]) == (200, [str(flow.assistant.pk), str(flow.supervisor.pk)])
    assert held(visit_of(flow, part)) == [
        (flow.assistant.pk, True, False),
        (flow.supervisor.pk, False, False),
    ]


def test_who_has_documented_a_visit_took_part_in_it(flow, part):
    """Ana has a note of it: she stays, and nothing has changed."""
    flow.put(part, [], at=f"{DAY} 10:00")
    flow.step(part, "finish", at=f"{DAY} 10:00")
    before = held(visit_of(flow, part)), visit_of(flow, part).version
    answer = put_right(flow, part, flow.supervisor)
    assert (answer.status_code, answer.json()["code"]) == (409, "has_documented")
    assert (held(visit_of(flow, part)), visit_of(flow, part).version) == before


@pytest.mark.parametrize(
    "over",
    [
        pytest.param({"start": f"{DAY} 10:00"}, id="another time"),
        pytest.param({"minutes": 30}, id="another end"),
        pytest.param({"mode": "video"}, id="another mode"),
        pytest.param({"place": "Gym"}, id="another place"),
        pytest.param({"kind": "consultation"}, id="another kind"),
    ],
)
def test_nothing_else_of_a_visit_that_began_is_changed(flow, part, over):
    """Only its staff are put right."""
    flow.step(part, "finish", at=f"{DAY} 09:45")
    before = held(visit_of(flow, part)), visit_of(flow, part).version
    answer = put_right(flow, part, flow.supervisor, **over)
    assert (answer.status_code, answer.json()["code"]) == (409, "visit_not_booked")
    assert (held(visit_of(flow, part)), visit_of(flow, part).version) == before


def test_a_visit_that_was_called_off_has_no_staff_to_put_right(flow, part):
    """It is reinstated first."""
    flow.step(part, "no-show", at=f"{DAY} 09:45", cause="client")
    assert put_right(flow, part, flow.supervisor).json()["code"] == "visit_not_booked"


def test_time_that_was_not_used_is_free(flow, part):
    """The child left at 9:20: the next visit, of the same two, really began at 9:20, and overlaps nothing."""
    both = [str(flow.assistant.pk), str(flow.child.pk)]
    flow.step(part, "check-in", at=NINE)
    flow.step(part, "finish", at=f"{DAY} 09:20", ended_early="Fire drill")
    inside = flow.book(f"{DAY} 09:19", at=f"{DAY} 10:00", minutes=20)
    assert (inside.status_code, inside.json()["overlaps"]) == (201, both)
    after = flow.book(f"{DAY} 09:20", at=f"{DAY} 10:00", minutes=20)
    assert (after.status_code, after.json()["overlaps"]) == (201, [])


def test_one_child_s_early_end_frees_her_and_not_the_clinician(flow):
    """In a group Mirela leaves at 9:15: she is free, while Ana stays with the other child until 9:45."""
    other = flow.another_child()
    both = [{"episode": str(flow.episode.pk)}, {"episode": str(other.pk)}]
    parts = flow.book(NINE, at="2026-03-30 08:00", kind="group", children=both).json()["children"]
    part = next(row["id"] for row in parts if row["episode"] == str(flow.episode.pk))
    flow.step(part, "finish", at=f"{DAY} 09:15", ended_early="Ill")
    at_ten = {"at": f"{DAY} 10:00", "minutes": 20}
    with_ruth = flow.book(f"{DAY} 09:15", api=flow.ruth, staff=[str(flow.supervisor.pk)], **at_ten)
    assert with_ruth.json()["overlaps"] == []
    with_ana = flow.book(f"{DAY} 09:35", **at_ten)
    assert with_ana.json()["overlaps"] == [str(flow.assistant.pk)]


@pytest.mark.parametrize(
    ("at", "arrived", "left", "minutes"),
    [
        pytest.param("10:45", "14:00", "15:45", 105, id="an hour after the plan: still now"),
        pytest.param("10:46", "14:00", "14:45", 45, id="later: as planned"),
        pytest.param("17:00", "14:00", "14:45", 45, id="in the evening: as planned"),
    ],
)
def test_who_finishes_in_the_evening_means_the_plan(flow, part, at, arrived, left, minutes):
    """Without a time of her own the tired person does not make it an eight hours' visit."""
    told = flow.step(part, "finish", at=f"{DAY} {at}").json()
    assert (told["arrived_at"], told["left_at"], told["minutes"]) == (
        f"{DAY}T{arrived}:00Z",
        f"{DAY}T{left}:00Z",
        minutes,
    )


@pytest.mark.parametrize(("at", "arrived"), [("09:45", "14:45"), ("09:46", "14:00")])
def test_who_checks_in_afterwards_means_the_planned_start(flow, part, at, arrived):
    """Now while the visit lasts; once it is over, when it was to begin."""
    assert flow.step(part, "check-in", at=f"{DAY} {at}").json()["arrived_at"] == f"{DAY}T{arrived}:00Z"


def test_a_visit_that_lies_ahead_is_not_finished(flow):
    """The refusal says that it has not begun."""
    part = flow.book(NINE, at="2026-03-30 08:00").json()["children"][0]["id"]
    answer = flow.step(part, "finish", at="2026-03-30 08:00")
    assert (answer.status_code, answer.json()["code"]) == (422, "visit_not_begun")
    assert flow.part(part).status == "booked"


def test_nobody_was_treated_before_she_was_born(flow):
    """A slip in the year is seen; the birthday itself is a day like any other."""
    born = flow.child.birth_date.isoformat()
    first = flow.book(f"{born} 09:00", at=NINE)
    assert first.status_code == 201, first.content
    day_before = flow.child.birth_date.replace(year=flow.child.birth_date.year - 1).isoformat()
    answer = flow.book(f"{day_before} 09:00", at=NINE)
    assert answer.json()["errors"] == [
        {"pointer": "/starts_at", "code": "before_birth", "detail": "The child was not born yet on that day"}
    ]


@pytest.mark.parametrize(("start", "status"), [("2028-03-30 08:00", 201), ("2028-04-01 09:00", 422)])
def test_a_visit_is_booked_at_most_two_years_ahead(flow, start, status):
    """731 days; beyond them a year was mistyped."""
    answer = flow.book(start, at="2026-03-31 08:00")
    assert answer.status_code == status, answer.content
    if status == 422:
        assert [(e["pointer"], e["code"]) for e in answer.json()["errors"]] == [("/starts_at", "too_far_ahead")]


def test_the_refusal_of_a_booking_says_why(flow):
    """An evaluation ahead is a therapist's; the sentence names that, not only that it is refused."""
    answer = flow.book(NINE, at="2026-03-30 08:00", kind="evaluation")
    assert [(e["pointer"], e["detail"]) for e in answer.json()["errors"]] == [
        ("/staff/0", "An evaluation is booked for a therapist")
    ]
    front, desk = flow.person("Ida Quist", Role.FRONT_DESK)
    told = flow.book(NINE, at="2026-03-30 08:00", api=desk, staff=[str(front.pk)])
    assert told.json()["errors"][0]["detail"] == "She is neither assistant nor therapist on that day"
