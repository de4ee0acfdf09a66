"""The steps of a child's part in a visit: which follows which, what each leaves, and taking one back."""

from datetime import date
from decimal import Decimal

import pytest
import time_machine

from clinic.enums import Role
from clinic.models import CareTeam, ChangeFeed
from scheduling.models import Booking, Participation, ParticipationChange, Visit
from tests import factories as make
from tests.clinic.asking import faults
from tests.scheduling.flow import Flow

pytestmark = pytest.mark.django_db

BEFORE = "2026-03-30 09:00"
DAY = "2026-03-31"
NINE = f"{DAY} 09:00"
CALLED_OFF = {"cause": "client", "reason": "Called in ill"}


@pytest.fixture
def flow():
    return Flow()


@pytest.fixture
def part(flow):
    return booked(flow)


def booked(flow, start: str = NINE, **over) -> str:
    answer = flow.book(start, at=BEFORE, **over)
    assert answer.status_code == 201, answer.content
    return answer.json()["children"][0]["id"]


def written() -> tuple[int, ...]:
    return tuple(model.objects.count() for model in (ParticipationChange, ChangeFeed, CareTeam))


WAYS = {
    "booked": [],
    "checked-in": [("check-in", {})],
    "fulfilled": [("check-in", {}), ("finish", {})],
    "cancelled": [("cancel", CALLED_OFF)],
    "noshow": [("no-show", CALLED_OFF)],
}
BODIES = {
    "check-in": {},
    "finish": {},
    "cancel": CALLED_OFF,
    "no-show": CALLED_OFF,
    "reinstate": {},
    "undo": {"reason": "Tapped for her brother"},
    "enter-in-error": {"reason": "Entered twice"},
}
ERROR = {"enter-in-error": "entered-in-error"}
LEGAL = {
    "booked": {"check-in": "checked-in", "finish": "fulfilled", "cancel": "cancelled", "no-show": "noshow", **ERROR},
    "checked-in": {"finish": "fulfilled", "cancel": "cancelled", "undo": "booked", **ERROR},
    "fulfilled": {"undo": "booked", **ERROR},
    "cancelled": {"reinstate": "booked", **ERROR},
    "noshow": {"reinstate": "booked", **ERROR},
}


@pytest.mark.parametrize("step", list(BODIES))
@pytest.mark.parametrize("status", list(WAYS))
def test_each_step_from_each_status(flow, part, status, step):
    """The table of HL7 appointment statuses as this service walks it; what is not in it is 409 and says what is."""
    for taken, body in WAYS[status]:
        assert flow.step(part, taken, at=f"{DAY} 09:30", **body).status_code == 200
    before, stood = written(), flow.part(part)
    answer = flow.step(part, step, at=f"{DAY} 09:40", **BODIES[step])
    if step in LEGAL[status]:
        assert (answer.status_code, answer.json()["status"]) == (200, LEGAL[status][step])
        assert answer["ETag"] == f'"{stood.version + 1}"'
        last = ParticipationChange.objects.filter(participation=part).latest("pk")
        assert (last.from_status, last.to_status) == (status, LEGAL[status][step])
        assert (last.by, last.at, last.effective_on) == (flow.assistant, make.at(f"{DAY} 09:40"), date(2026, 3, 31))
        return
    assert (answer.status_code, answer.json()["code"]) == (409, "illegal_step")
    assert answer.json()["allowed_actions"] == sorted(LEGAL[status])
    assert written() == before
    assert (flow.part(part).status, flow.part(part).version) == (status, stood.version)


def test_minutes_are_what_elapsed_from_arrival(flow, part):
    """Two minutes late, out at 9:47: 45 minutes; and the visit's own times are the first's and the last's."""
    flow.step(part, "check-in", at=f"{DAY} 09:02")
    told = flow.step(part, "finish", at=f"{DAY} 09:47").json()
    assert (told["arrived_at"], told["left_at"]) == ("2026-03-31T14:02:00Z", "2026-03-31T14:47:00Z")
    assert (told["minutes"], told["ended_early"]) == (45, "")
    visit = Visit.objects.get(pk=told["visit"])
    assert (visit.status, visit.arrived_at, visit.finished_at) == (
        "fulfilled",
        make.at(f"{DAY} 09:02"),
        make.at(f"{DAY} 09:47"),
    )


def test_a_visit_that_ended_after_four_minutes(flow, part):
    """It took place: four minutes, and why it ended."""
    flow.step(part, "check-in", at=f"{DAY} 09:00")
    told = flow.step(part, "finish", at=f"{DAY} 09:04", ended_early="Child ill").json()
    assert (told["status"], told["minutes"], told["ended_early"]) == ("fulfilled", 4, "Child ill")


def test_given_minutes_are_kept(flow, part):
    """What she says she treated stands beside the times that elapsed."""
    flow.step(part, "check-in", at=f"{DAY} 09:00")
    told = flow.step(part, "finish", at=f"{DAY} 09:45", minutes=40).json()
    assert (told["minutes"], told["left_at"]) == (40, "2026-03-31T14:45:00Z")


def test_a_visit_without_check_in_began_as_planned(flow, part):
    """Finished at once, it counts from its planned start."""
    told = flow.step(part, "finish", at=f"{DAY} 10:00", left_at=f"{DAY}T09:40:00-05:00").json()
    assert (told["arrived_at"], told["minutes"]) == ("2026-03-31T14:00:00Z", 40)


def test_more_than_twelve_hours_are_said_in_minutes(flow, part):
    """Left standing over night, a part is not finished by the clock: she says how long it was."""
    flow.step(part, "check-in", at=f"{DAY} 09:00")
    before = written()
    late = flow.step(part, "finish", at=f"{DAY} 22:00", left_at=f"{DAY}T21:01:00-05:00")
    assert (late.status_code, faults(late)) == (422, [("/minutes", "too_long")])
    assert written() == before
    whole = flow.step(part, "finish", at=f"{DAY} 22:00", left_at=f"{DAY}T21:00:00-05:00")
    assert whole.json()["minutes"] == 720


@pytest.mark.parametrize(
    ("step", "body", "status", "fault"),
    [
        pytest.param(
            "check-in", {"arrived_at": f"{DAY}T09:36:00-05:00"}, 422, ("/arrived_at", "in_the_future"), id="1"
        ),
        pytest.param(
            "check-in", {"arrived_at": "2026-03-30T20:59:00-05:00"}, 422, ("/arrived_at", "too_early"), id="2"
        ),
        pytest.param("check-in", {"arrived_at": f"{DAY}T09:00:00"}, 400, ("/arrived_at", "not_rfc3339"), id="naive"),
        pytest.param("finish", {"left_at": f"{DAY}T08:59:00-05:00"}, 422, ("/left_at", "ends_before_start"), id="4"),
        pytest.param("finish", {"left_at": f"{DAY}T10:00:00-05:00"}, 422, ("/left_at", "in_the_future"), id="5"),
        pytest.param("finish", {"minutes": -1}, 400, ("/minutes", "min_value"), id="negative minutes"),
        pytest.param("finish", {"minutes": 721}, 400, ("/minutes", "max_value"), id="13 hours"),
        pytest.param("finish", {"minutes": "40"}, 400, ("/minutes", "invalid"), id="minutes as a string"),
        pytest.param("cancel", {}, 400, ("/cause", "required"), id="no cause"),
        pytest.param("cancel", {"cause": "weather"}, 400, ("/cause", "invalid_choice"), id="unknown cause"),
        pytest.param(
            "cancel", {"cause": "client", "at": "1900-01-01T00:00:00Z"}, 422, ("/at", "too_early"), id="in 1900"
        ),
        pytest.param(
            "cancel", {"cause": "client", "at": f"{DAY}T10:00:00-05:00"}, 422, ("/at", "in_the_future"), id="11"
        ),
        pytest.param("cancel", {"cause": "client", "reason": "x" * 501}, 400, ("/reason", "too_long"), id="12"),
        pytest.param("reinstate", {"why": "so"}, 400, ("/why", "unknown_member"), id="unknown member"),
    ],
)
def test_impossible_facts_are_refused(flow, part, step, body, status, fault):
    """Each with its place; the part stays as it was."""
    before = written()
    answer = flow.step(part, step, at=f"{DAY} 09:30", said=body)
    assert (answer.status_code, faults(answer)[0]) == (status, fault)
    assert written() == before
    assert flow.part(part).status == "booked"


def test_a_step_says_which_version_it_changes(flow, part):
    """Without If-Match 428, with a stale one 412; nothing is written."""
    stale = flow.step(part, "check-in", at=f"{DAY} 09:00", match=7)
    assert (stale.status_code, stale.json()["current_etag"]) == (412, '"1"')
    missing = flow.ana.post(f"/api/v1/participations/{part}/check-in/", {}, format="json")
    assert missing.status_code == 428
    assert flow.part(part).status == "booked"


@pytest.mark.parametrize(
    ("at", "hours"),
    [
        pytest.param(f"{DAY} 06:00", "3", id="three hours before"),
        pytest.param("2026-03-30 09:00", "24", id="the day before"),
        pytest.param(f"{DAY} 08:20", "0.67", id="forty minutes before"),
        pytest.param(f"{DAY} 09:30", "-0.5", id="half an hour after it began"),
    ],
)
def test_a_cancellation_keeps_its_notice(flow, part, at, hours):
    """By whom, on whose side, why, when and how many hours ahead; the times are free again."""
    told = flow.step(part, "cancel", at=at, cause="provider", reason="Therapist at a training").json()
    assert (told["status"], told["cancel_cause"], told["cancel_reason"]) == (
        "cancelled",
        "provider",
        "Therapist at a training",
    )
    assert Decimal(str(told["hours_of_notice"])) == Decimal(hours)
    row = flow.part(part)
    assert (row.cancelled_by, row.cancelled_at, row.minutes) == (flow.assistant, make.at(at), None)
    assert not Booking.objects.filter(live=True).exists()
    assert flow.book(NINE, at=BEFORE).status_code == 201


def test_notice_counts_from_when_it_became_known(flow, part):
    """Written down at noon, called in at six: three hours of notice."""
    answer = flow.step(part, "cancel", at=f"{DAY} 12:00", said={**CALLED_OFF, "at": f"{DAY}T06:00:00-05:00"})
    assert Decimal(str(answer.json()["hours_of_notice"])) == 3


def test_notice_counts_hours_that_elapse(flow):
    """From 23:00 before the clocks go forward to 9:00 after it are nine hours, not ten."""
    part = flow.book("2026-03-08 09:00", at="2026-03-01 09:00").json()["children"][0]["id"]
    told = flow.step(part, "cancel", at="2026-03-07 23:00", **CALLED_OFF).json()
    assert Decimal(str(told["hours_of_notice"])) == 9


def test_nobody_came(flow, part):
    """A no-show has no minutes and frees what was held; before the visit began nobody can say it."""
    early = flow.step(part, "no-show", at=f"{DAY} 08:59", **CALLED_OFF)
    assert (early.status_code, early.json()["code"]) == (422, "visit_not_begun")
    assert flow.part(part).status == "booked"
    told = flow.step(part, "no-show", at=f"{DAY} 09:20", **CALLED_OFF).json()
    assert (told["status"], told["minutes"]) == ("noshow", 0)
    assert Visit.objects.get(pk=told["visit"]).status == "noshow"
    assert not Booking.objects.filter(live=True).exists()


def test_the_whole_visit_is_cancelled_at_once(flow):
    """Every part that is still open; a second time there is nothing to cancel."""
    other = flow.another_child()
    answer = flow.book(NINE, at=BEFORE, kind="group", children=[{"episode": str(e.pk)} for e in (flow.episode, other)])
    visit = answer.json()["id"]
    told = cancel_visit(flow, visit, at=f"{DAY} 06:00")
    assert (told.status_code, told.json()["status"]) == (200, "cancelled")
    assert {part["status"] for part in told.json()["children"]} == {"cancelled"}
    assert {Decimal(part["hours_of_notice"]) for part in told.json()["children"]} == {3}
    assert not Booking.objects.filter(live=True).exists()
    before = written()
    again = cancel_visit(flow, visit, at=f"{DAY} 06:05")
    assert (again.status_code, again.json()["code"]) == (409, "illegal_step")
    assert written() == before


def cancel_visit(flow, visit: str, *, at: str, match: int | None = None):
    version = Visit.objects.get(pk=visit).version if match is None else match
    with time_machine.travel(make.at(at), tick=False):
        return flow.ana.post(f"/api/v1/visits/{visit}/cancel/", CALLED_OFF, format="json", HTTP_IF_MATCH=f'"{version}"')


def test_cancelling_a_visit_leaves_what_was_held(flow):
    """A child who has been there keeps her minutes; only the other's part is cancelled, the staff stays held."""
    other = flow.another_child()
    answer = flow.book(NINE, at=BEFORE, kind="group", children=[{"episode": str(e.pk)} for e in (flow.episode, other)])
    by_episode = {part["episode"]: part["id"] for part in answer.json()["children"]}
    mine, theirs = by_episode[str(flow.episode.pk)], by_episode[str(other.pk)]
    flow.step(mine, "finish", at=f"{DAY} 09:45")
    assert cancel_visit(flow, answer.json()["id"], at=f"{DAY} 09:50").json()["status"] == "fulfilled"
    assert (flow.part(mine).status, flow.part(mine).minutes) == ("fulfilled", 45)
    assert flow.part(theirs).status == "cancelled"
    live = Booking.objects.filter(live=True)
    assert {(b.staff_id, b.client_id) for b in live} == {(flow.assistant.pk, None), (None, flow.child.pk)}


# --- Taking it back --------------------------------------------------------------------------------------


def test_reinstating_takes_everything_again(flow):
    """Staff, child and room are held as before, the facts of the cancellation are gone, its history stays."""
    room = make.make_room(flow.site)
    part = booked(flow, rooms=[str(room.pk)])
    flow.step(part, "cancel", at=f"{DAY} 06:00", **CALLED_OFF)
    told = flow.step(part, "reinstate", at=f"{DAY} 06:10").json()
    assert (told["status"], told["cancelled_at"], told["cancel_cause"], told["hours_of_notice"]) == (
        "booked",
        None,
        None,
        None,
    )
    assert Booking.objects.filter(live=True).count() == 3
    assert list(
        ParticipationChange.objects.filter(participation=part).order_by("pk").values_list("to_status", flat=True)
    ) == ["booked", "cancelled", "booked"]
    assert flow.book(NINE, at=BEFORE).status_code == 409


@pytest.mark.parametrize("shared", ["staff", "client", "room"])
def test_reinstating_is_refused_when_something_is_taken(flow, shared):
    """409 names it, and the part stays cancelled."""
    room, mia = make.make_room(flow.site), flow.person("Mia Lund", Role.THERAPIST)[0]
    part = booked(flow, rooms=[str(room.pk)])
    flow.step(part, "cancel", at=f"{DAY} 06:00", **CALLED_OFF)
    over = {"staff": [str(mia.pk)], "children": [{"episode": str(flow.another_child().pk)}]}
    over |= {
        "staff": {"staff": [str(flow.assistant.pk)]},
        "client": {"children": [{"episode": str(flow.episode.pk)}]},
        "room": {"rooms": [str(room.pk)]},
    }[shared]
    assert flow.book(NINE, at=BEFORE, **over).status_code == 201
    before = written()
    answer = flow.step(part, "reinstate", at=f"{DAY} 06:10")
    assert (answer.status_code, answer.json()["code"]) == (409, "booking_overlaps")
    assert [one["resource"] for one in answer.json()["collides_with"]] == [shared]
    assert flow.part(part).status == "cancelled"
    assert written() == before
    assert Booking.objects.filter(live=True).count() == (3 if shared == "room" else 2)


def test_reinstating_finds_another_place_in_the_room(flow):
    """The place that it had is taken, the other one is free."""
    room = make.make_room(flow.site, places=2)
    part = booked(flow, rooms=[str(room.pk)])
    flow.step(part, "cancel", at=f"{DAY} 06:00", **CALLED_OFF)
    mia = flow.person("Mia Lund", Role.THERAPIST)[0]
    over = {"staff": [str(mia.pk)], "children": [{"episode": str(flow.another_child().pk)}], "rooms": [str(room.pk)]}
    assert flow.book(NINE, at=BEFORE, **over).status_code == 201
    assert flow.step(part, "reinstate", at=f"{DAY} 06:10").status_code == 200
    assert sorted(Booking.objects.filter(room=room, live=True).values_list("place", flat=True)) == [1, 2]


def test_reinstating_does_not_take_what_a_move_gave_up(flow):
    """Moved from Ana to Mia, cancelled and reinstated, it holds Mia alone: Ana's hour is her own."""
    mia, mia_api = flow.person("Mia Lund", Role.THERAPIST)
    make.put_on_team(mia, flow.episode)
    visit = make.new_id()
    part = booked(flow, visit=visit)
    assert flow.book(NINE, at=BEFORE, visit=visit, match=1, staff=[str(mia.pk)]).status_code == 200
    flow.step(part, "cancel", at=f"{DAY} 06:00", api=mia_api, **CALLED_OFF)
    assert flow.book(NINE, at=BEFORE, children=[{"episode": str(flow.another_child().pk)}]).status_code == 201
    assert flow.step(part, "reinstate", at=f"{DAY} 06:10", api=mia_api).status_code == 200
    held = Booking.objects.filter(visit=visit, live=True, staff__isnull=False)
    assert [b.staff_id for b in held] == [mia.pk]


def test_steps_of_a_child_out_of_reach(flow, part):
    """A colleague who treats somebody else finds no such part; nothing is written."""
    _, mia = flow.person("Mia Lund", Role.ASSISTANT)
    before = written()
    for step, body in BODIES.items():
        assert flow.step(part, step, at=f"{DAY} 09:00", api=mia, **body).status_code == 404
    assert written() == before
    assert Participation.objects.get(pk=part).status == "booked"
