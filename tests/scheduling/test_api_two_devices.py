"""One note on two tablets, and a tablet whose clock is off: nothing is lost, nothing is refused for its clock."""

import pytest
import time_machine

from clinic.models import Document
from scheduling.api.notes import NoteDoor
from tests import factories as make
from tests.clinic.asking import faults
from tests.scheduling.flow import Flow

pytestmark = pytest.mark.django_db
DAY = "2026-03-31"
# Two hours ahead of the hour at which these tests send.
AHEAD = {"HTTP_DEVICE_TIME": f"{DAY}T11:02:00-05:00"}


@pytest.fixture
def flow():
    return Flow()


def send(flow, method, url, body, *, at, **headers):
    with time_machine.travel(make.at(at), tick=False):
        return getattr(flow.ana, method)(f"/api/v1/{url}", body, format="json", **headers)


def test_two_devices_on_one_note(flow):
    """The second is shown both versions, hers and the one that is there; she puts what both saw under its ETag."""
    part = flow.visit(DAY)
    note = flow.put(part, [], at=f"{DAY} 10:00")
    first = {"participation": part, "objective": "Six of ten."}
    second = {"participation": part, "plan": "Rest."}
    taken = send(flow, "put", f"notes/{note}/", first, at=f"{DAY} 10:05", HTTP_IF_MATCH='"1"')
    refused = send(flow, "put", f"notes/{note}/", second, at=f"{DAY} 10:06", HTTP_IF_MATCH='"1"')
    told = refused.json()
    assert (refused.status_code, told["current_etag"], told["sent"]) == (412, '"2"', second)
    assert told["current"] == taken.json()
    assert Document.objects.get().draft == first
    both = {**told["current"]["draft"], **told["sent"]}
    assert (
        send(flow, "put", f"notes/{note}/", both, at=f"{DAY} 10:07", HTTP_IF_MATCH=told["current_etag"]).status_code
        == 200
    )
    assert Document.objects.get().draft == {"participation": part, "objective": "Six of ten.", "plan": "Rest."}


def test_a_note_made_between_the_look_and_the_write(flow, monkeypatch):
    """Her other connection made it just then: the same note is answered, another one still names what is there."""
    part, note = flow.visit(DAY), make.new_id()
    made = send(flow, "put", f"notes/{note}/", {"participation": part}, at=f"{DAY} 10:00")
    looks, there = iter([lambda *asked: False]), NoteDoor.exists
    monkeypatch.setattr(NoteDoor, "exists", lambda *asked: next(looks, there)(*asked))
    again = send(flow, "put", f"notes/{note}/", {"participation": part}, at=f"{DAY} 10:00")
    assert (again.status_code, again["ETag"]) == (200, made["ETag"])
    other = send(flow, "put", f"notes/{make.new_id()}/", {"participation": part}, at=f"{DAY} 10:00")
    assert (other.status_code, other.json()["existing_id"]) == (409, note)


@pytest.fixture
def booked(flow):
    answer = flow.book(f"{DAY} 09:00", at="2026-03-30 09:00")
    return answer.json()["children"][0]["id"]


def check_in(flow, part, arrived, **headers):
    body, url = {"arrived_at": f"{DAY}T{arrived}:00-05:00"}, f"participations/{part}/check-in/"
    return send(flow, "post", url, body, at=f"{DAY} 09:02", HTTP_IF_MATCH='"1"', **headers)


def test_a_clock_that_is_far_off_is_put_right(flow, booked):
    """Two hours ahead: the child came when she came, and how far the clock was off stays beside it."""
    told = check_in(flow, booked, "11:01", **AHEAD).json()
    assert (told["arrived_at"], told["device_offset_seconds"]) == ("2026-03-31T14:01:00Z", 7200)


def test_a_time_ahead_from_a_clock_that_is_right_is_refused(flow, booked):
    """The control: without the device's word for its clock the same time lies in the future."""
    refused = check_in(flow, booked, "11:01")
    assert (refused.status_code, faults(refused)) == (422, [("/arrived_at", "in_the_future")])
    right = {"HTTP_DEVICE_TIME": f"{DAY}T09:04:00-05:00"}
    assert check_in(flow, booked, "11:01", **right).status_code == 422


@pytest.mark.parametrize(
    "told", [pytest.param("1970-01-01T00:00:10Z", id="1970"), pytest.param("2031-03-31T09:02:00Z", id="years ahead")]
)
def test_a_device_that_lost_its_clock_still_documents(flow, booked, told):
    """Years off is put right like hours are."""
    with_its_clock = {"arrived_at": told}
    url = f"participations/{booked}/check-in/"
    answer = send(
        flow, "post", url, with_its_clock, at=f"{DAY} 09:02", HTTP_IF_MATCH='"1"', HTTP_DEVICE_TIME=told
    ).json()
    assert answer["arrived_at"] == "2026-03-31T14:02:00Z"


def test_near_enough_is_as_it_was_told(flow, booked):
    """Within five minutes the device's time stands as it is."""
    told = check_in(flow, booked, "09:01", HTTP_DEVICE_TIME=f"{DAY}T09:06:00-05:00").json()
    assert (told["arrived_at"], told["device_offset_seconds"]) == ("2026-03-31T14:01:00Z", None)


def test_whoever_cosigns_sees_that_the_clock_was_off(flow):
    """The version that is signed later, from any device, says so; the signature's time is the server's."""
    part = flow.visit(DAY)
    note = flow.put(part, [], at=f"{DAY} 09:02", HTTP_DEVICE_TIME=f"{DAY}T06:32:00-05:00")
    signed = flow.sign(note, at=f"{DAY} 10:05").json()["current"]
    flags = {flag["check"]: flag for flag in signed["flags"]}
    assert flags["device_clock_off"]["facts"] == {"seconds": -9000}
    sentence = "the device's clock was 2 hours and 30 minutes behind when this was recorded"
    assert flags["device_clock_off"]["sentence"] == sentence
    assert signed["signatures"][0]["signed_at"] == "2026-03-31T15:05:00Z"


def test_a_draft_changed_by_a_clock_that_is_off_says_so_too(flow):
    """It is kept with the part, whose version moves on; a clock that is right leaves both alone."""
    part = flow.visit(DAY)
    note = flow.put(part, [], at=f"{DAY} 09:02")
    before = flow.part(part)
    flow.put(part, [], at=f"{DAY} 09:02", note=note, HTTP_IF_MATCH='"1"', HTTP_DEVICE_TIME=f"{DAY}T09:04:00-05:00")
    assert (flow.part(part).version, flow.part(part).device_offset_seconds) == (before.version, None)
    flow.put(part, [], at=f"{DAY} 09:02", note=note, HTTP_IF_MATCH='"2"', **AHEAD)
    assert (flow.part(part).version, flow.part(part).device_offset_seconds) == (before.version + 1, 7200)


def test_a_clock_that_says_no_time_is_refused(flow, booked):
    """Times without an offset are refused, here as everywhere."""
    refused = check_in(flow, booked, "09:01", HTTP_DEVICE_TIME=f"{DAY}T09:02:00")
    assert (refused.status_code, refused.json()["code"]) == (400, "invalid_header")
    assert flow.part(booked).status == "booked"
