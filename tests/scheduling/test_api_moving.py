"""Moving a visit: everything that it holds goes along, or nothing does."""

from datetime import date

import pytest

from clinic.enums import Role
from clinic.models import CareTeam, ChangeFeed, Supervision
from scheduling.models import Booking, Participation, Visit
from tests import factories as make
from tests.clinic.asking import faults, ids
from tests.scheduling.flow import Flow

pytestmark = pytest.mark.django_db

BEFORE = "2026-03-30 09:00"
NINE, ELEVEN = "2026-03-31 09:00", "2026-03-31 11:00"


@pytest.fixture
def flow():
    return Flow()


@pytest.fixture
def visit(flow):
    """The id of a visit of the assistant and the child at nine."""
    return booked(flow)


def booked(flow, start: str = NINE, **over) -> str:
    answer = flow.book(start, at=BEFORE, **over)
    assert answer.status_code == 201, answer.content
    return answer.json()["id"]


def state(visit: str) -> tuple:
    row = Visit.objects.get(pk=visit)
    held = Booking.objects.filter(visit=visit).order_by("pk")
    return (
        (row.starts_at, row.ends_at, row.version, row.sequence),
        [(b.staff_id, b.client_id, b.room_id, b.place, b.during, b.live, b.superseded) for b in held],
        list(row.participations.order_by("pk").values_list("pk", "starts_at", "ends_at", "version", "status")),
        ChangeFeed.objects.count(),
        CareTeam.objects.count(),
    )


def test_a_move_takes_everything_along(flow, visit):
    """New times for the visit, the child's part and all that is held; the old time is free."""
    answer = flow.book(ELEVEN, at=BEFORE, visit=visit, match=1)
    assert (answer.status_code, answer["ETag"]) == (200, '"2"')
    assert answer.json()["starts_at"] == "2026-03-31T16:00:00Z"
    assert answer.json()["children"][0]["starts_at"] == "2026-03-31T16:00:00Z"
    live = Booking.objects.filter(visit=visit, live=True)
    assert {(b.during.lower, b.during.upper) for b in live} == {
        (make.at(ELEVEN), make.at("2026-03-31 11:45")),
    }
    assert live.count() == 2
    assert flow.book(NINE, at=BEFORE).status_code == 201
    assert flow.book(ELEVEN, at=BEFORE).status_code == 409


def test_a_move_over_its_own_time(flow, visit):
    """A quarter of an hour later it does not stand in its own way."""
    assert flow.book("2026-03-31 09:15", at=BEFORE, visit=visit, match=1).status_code == 200


def test_a_move_to_another_day(flow, visit):
    """The service date of visit and part, in the site's zone, follow."""
    told = flow.book("2026-04-01 18:30", at=BEFORE, visit=visit, match=1).json()
    assert (told["service_date"], told["children"][0]["service_date"]) == ("2026-04-01", "2026-04-01")


def test_a_move_into_a_taken_time_moves_nothing(flow, visit):
    """409 names what is there; visit, part, bookings and reach are exactly as they were."""
    other = flow.another_child()
    booked(flow, ELEVEN, children=[{"episode": str(other.pk)}])
    before = state(visit)
    answer = flow.book(ELEVEN, at=BEFORE, visit=visit, match=1)
    assert (answer.status_code, answer.json()["code"]) == (409, "booking_overlaps")
    assert [one["resource"] for one in answer.json()["collides_with"]] == ["staff"]
    assert state(visit) == before


def test_a_move_must_say_which_version_it_moves(flow, visit):
    """428 without, 412 with a stale one."""
    before = state(visit)
    assert flow.book(ELEVEN, at=BEFORE, visit=visit).status_code == 428
    stale = flow.book(ELEVEN, at=BEFORE, visit=visit, match=9)
    assert (stale.status_code, stale.json()["code"]) == (412, "precondition_failed")
    assert state(visit) == before


@pytest.mark.parametrize(
    ("over", "status", "fault"),
    [
        pytest.param({"kind": "supervisory"}, 422, ("/kind", "fixed"), id="another kind"),
        pytest.param({"minutes": 800}, 422, ("/ends_at", "too_long"), id="thirteen hours"),
    ],
)
def test_what_a_move_may_not_change(flow, visit, over, status, fault):
    """A visit's kind stays, and its length is possible."""
    before = state(visit)
    answer = flow.book(ELEVEN, at=BEFORE, visit=visit, match=1, **over)
    assert (answer.status_code, faults(answer)) == (status, [fault])
    assert state(visit) == before


def test_a_child_is_not_dropped_by_a_move(flow):
    """She leaves by having her part cancelled; a child may come in."""
    one, two, three = flow.episode, flow.another_child("Teo"), flow.another_child("Ada")
    pair = [{"episode": str(e.pk)} for e in (one, two)]
    visit = booked(flow, kind="group", children=pair)
    before = state(visit)
    others = [{"episode": str(e.pk)} for e in (one, three)]
    dropped = flow.book(NINE, at=BEFORE, visit=visit, match=1, kind="group", children=others)
    assert (dropped.status_code, faults(dropped)) == (422, [("/children", "child_missing")])
    assert state(visit) == before
    more = [*pair, {"episode": str(three.pk)}]
    assert flow.book(NINE, at=BEFORE, visit=visit, match=1, kind="group", children=more).status_code == 200
    assert Participation.objects.filter(visit=visit).count() == 3


@pytest.mark.parametrize("named", [True, False])
def test_a_part_that_was_called_off_stays_called_off(flow, named):
    """Whether the move names her or not: neither is she held again, nor is her reach given again."""
    children = [flow.episode, flow.another_child("Teo"), flow.another_child("Ada")]
    listed = [{"episode": str(e.pk)} for e in children]
    answer = flow.book(NINE, at=BEFORE, kind="group", children=listed)
    visit, gone = answer.json()["id"], children[2]
    part = next(p["id"] for p in answer.json()["children"] if p["episode"] == str(gone.pk))
    flow.step(part, "cancel", at="2026-03-30 10:00", cause="client")
    version = Visit.objects.get(pk=visit).version
    again = listed if named else listed[:2]
    moved = flow.book(ELEVEN, at="2026-03-31 08:00", visit=visit, match=version, kind="group", children=again)
    assert moved.status_code == 200, moved.content
    row = Participation.objects.get(pk=part)
    assert (row.status, row.starts_at) == ("cancelled", make.at(NINE))
    assert not Booking.objects.filter(visit=visit, client=gone.client_id, live=True).exists()
    assert CareTeam.objects.get(source_id=visit, episode=gone).ends_on is not None
    elsewhere = {"children": [{"episode": str(gone.pk)}], "staff": [str(flow.supervisor.pk)]}
    assert flow.book(ELEVEN, at=BEFORE, **elsewhere).status_code == 201


def test_only_a_booked_visit_is_moved(flow, visit):
    """Once the child has come, or it was cancelled, it stays where it was."""
    part = Participation.objects.get(visit=visit).pk
    flow.step(str(part), "check-in", at=NINE)
    version = Visit.objects.get(pk=visit).version
    answer = flow.book(ELEVEN, at=NINE, visit=visit, match=version)
    assert (answer.status_code, answer.json()["code"], answer.json()["status_now"]) == (
        409,
        "visit_not_booked",
        "checked-in",
    )


def test_another_clinician_takes_over(flow, visit):
    """After the move the visit is Mia's: Ana neither sees it in her day nor documents it, and owes no note."""
    mia, mia_api = flow.person("Mia Lund", Role.ASSISTANT)
    make.make_supervision(mia, flow.supervisor)
    moved = flow.book(NINE, at=BEFORE, visit=visit, match=1, staff=[str(mia.pk)])
    assert moved.json()["staff"] == [str(mia.pk)]
    assert ids(flow.get("visits/", at=BEFORE, staff=str(flow.assistant.pk))) == []
    day = {"date": "2026-03-31"}
    assert flow.get("day/", at=NINE, **day).json()["visits"] == []
    assert [v["id"] for v in flow.get("day/", at=NINE, api=mia_api, **day).json()["visits"]] == [visit]

    part = moved.json()["children"][0]["id"]
    assert flow.step(part, "finish", at="2026-03-31 09:45", api=mia_api).status_code == 200
    assert flow.get("day/", at="2026-03-31 10:00").json()["unsigned"] == []
    owed = flow.get("day/", at="2026-03-31 10:00", api=mia_api).json()["unsigned"]
    assert [row["participation"] for row in owed] == [part]
    body = {"participation": part, "objective": "At the table."}
    refused = flow.ana.put(f"/api/v1/notes/{make.new_id()}/", body, format="json")
    assert (refused.status_code, refused.json()["code"]) == (403, "not_own_visit")


def test_the_rules_of_booking_hold_for_a_move(flow, visit):
    """An assistant is not moved to a day on which nobody supervises her."""
    Supervision.objects.filter(assistant=flow.assistant).update(ends_on=date(2026, 3, 31))
    before = state(visit)
    answer = flow.book("2026-04-01 09:00", at=BEFORE, visit=visit, match=1)
    assert (answer.status_code, answer.json()["code"]) == (422, "no_supervision_on_day")
    assert state(visit) == before
