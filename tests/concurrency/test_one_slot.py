"""Eight people book one hour of one assistant: one visit stands, seven are told what collides."""

import pytest
import time_machine

from clinic.enums import Role
from scheduling.models import Booking, Participation, Visit
from scheduling.services import bookings as services
from tests import factories as make
from tests.concurrency.racing import at_once, run_sql, statuses

BEFORE = "2026-03-30 09:00"
NINE = "2026-03-31 09:00"


def book_eight(flow, **over) -> list:
    """Eight at the front desk, each with another child, for the same assistant at nine."""
    calls = []
    for number in range(8):
        _, api = flow.person(f"Desk {number}", Role.FRONT_DESK)
        body = flow.asked(NINE, children=[{"episode": str(flow.another_child(f"Child {number}").pk)}], **over)
        calls.append(lambda api=api, body=body: api.put(f"/api/v1/visits/{make.new_id()}/", body, format="json"))
    with time_machine.travel(make.at(BEFORE), tick=False):
        return at_once(calls)


def held_at_once() -> int:
    return Booking.objects.filter(staff__isnull=False, live=True).count()


def test_one_of_eight_gets_the_hour(flow):
    """201 once, 409 seven times with the time that is taken; nothing half written."""
    answers = book_eight(flow)
    assert statuses(answers) == [201] + [409] * 7
    for refused in (answer.json() for answer in answers if answer.status_code == 409):
        assert refused["code"] == "booking_overlaps"
        assert [one["resource"] for one in refused["collides_with"]] == ["staff"]
    assert (Visit.objects.count(), Participation.objects.count(), Booking.objects.count()) == (1, 1, 2)


@pytest.fixture
def without_looking(monkeypatch):
    """Neither the sorted locks nor the look before: what is left is the table's own constraint."""
    monkeypatch.setattr(services, "_lock", lambda resources: None)
    monkeypatch.setattr(services.selectors, "collisions", lambda **asked: [])


def test_the_constraint_alone_lets_one_through(flow, without_looking):
    """The same without the locks and the look: the table refuses seven."""
    answers = book_eight(flow)
    assert statuses(answers) == [201] + [409] * 7
    assert held_at_once() == 1


def test_without_the_constraint_several_get_the_hour(flow, without_looking):
    """The control: eight visits of one assistant at the same time."""
    run_sql("ALTER TABLE scheduling_booking DROP CONSTRAINT booking_no_overlap_per_staff")
    assert statuses(book_eight(flow)) == [201] * 8
    assert held_at_once() == 8


def test_crossing_resources_do_not_lock_each_other_up(flow):
    """Eight visits that each want two rooms in another order: each is answered, none with a failure."""
    rooms = [str(make.make_room(flow.site).pk) for _ in range(2)]
    calls = []
    for number in range(8):
        staff, api = flow.person(f"Therapist {number}", Role.THERAPIST)
        child = flow.another_child(f"Child {number}", staff)
        over = {"staff": [str(staff.pk)], "rooms": rooms[:: 1 if number % 2 else -1]}
        body = flow.asked(NINE, children=[{"episode": str(child.pk)}], **over)
        calls.append(lambda api=api, body=body: api.put(f"/api/v1/visits/{make.new_id()}/", body, format="json"))
    with time_machine.travel(make.at(BEFORE), tick=False):
        answers = at_once(calls)
    assert statuses(answers) == [201] + [409] * 7
