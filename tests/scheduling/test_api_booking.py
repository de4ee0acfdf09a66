"""Booking visits over HTTP: what is held, what collides, what a rule refuses ahead and never afterwards."""

from datetime import date

import pytest

from clinic.enums import Role
from clinic.models import CareTeam, ChangeFeed, Supervision
from scheduling.models import Booking, Participation, ParticipationChange, Visit
from tests import factories as make
from tests.clinic.asking import faults, ids
from tests.scheduling.flow import Flow

pytestmark = pytest.mark.django_db

BEFORE = "2026-03-30 09:00"
NINE = "2026-03-31 09:00"


@pytest.fixture
def flow():
    return Flow()


def written() -> tuple[int, ...]:
    models = (Visit, Participation, ParticipationChange, Booking, CareTeam, ChangeFeed)
    return tuple(model.objects.count() for model in models)


def test_a_visit_holds_its_people_and_its_room(flow):
    """One booking each for the assistant, the child and a place of the room; the child's part begins as booked."""
    room = make.make_room(flow.site)
    answer = flow.book(NINE, at=BEFORE, rooms=[str(room.pk)], place="Room by the garden", mode="video")
    assert answer.status_code == 201
    told = answer.json()
    assert answer["Location"].endswith(f"/visits/{told['id']}/")
    assert answer["ETag"] == '"1"'
    assert {name: told[name] for name in ("kind", "mode", "place", "status", "service_date", "time_zone")} == {
        "kind": "treatment",
        "mode": "video",
        "place": "Room by the garden",
        "status": "booked",
        "service_date": "2026-03-31",
        "time_zone": "America/Chicago",
    }
    assert (told["starts_at"], told["ends_at"]) == ("2026-03-31T14:00:00Z", "2026-03-31T14:45:00Z")
    assert (told["staff"], told["rooms"]) == ([str(flow.assistant.pk)], [str(room.pk)])
    (part,) = told["children"]
    assert (part["status"], part["minutes"], part["notes"]) == ("booked", None, [])
    held = Booking.objects.filter(visit=told["id"], live=True)
    assert {(b.staff_id, b.client_id, b.room_id, b.place) for b in held} == {
        (flow.assistant.pk, None, None, None),
        (None, flow.child.pk, None, None),
        (None, None, room.pk, 1),
    }
    change = ParticipationChange.objects.get(participation=part["id"])
    assert (change.from_status, change.to_status, change.by) == ("", "booked", flow.assistant)
    assert change.effective_on == date(2026, 3, 31)


def test_an_evening_visit_counts_for_the_day_on_the_wall(flow):
    """Half past six in Chicago on 21 January is the 22nd in UTC; the service date is the 21st."""
    answer = flow.book("2026-01-21 18:30", at="2026-01-21 20:00", mode="video")
    assert (answer.json()["starts_at"], answer.json()["service_date"]) == ("2026-01-22T00:30:00Z", "2026-01-21")
    assert answer.json()["children"][0]["service_date"] == "2026-01-21"


def test_the_zone_of_the_site_decides_the_day(flow):
    """The same instant at a site in Berlin counts for the 22nd."""
    berlin = make.make_site(flow.organization, time_zone="Europe/Berlin", country="DE", subdivision="BE")
    answer = flow.book("2026-01-21 18:30", at="2026-01-21 20:00", site=str(berlin.pk))
    assert answer.json()["service_date"] == "2026-01-22"


def test_back_to_back_is_no_overlap(flow):
    """The end is not part of a visit: the next one begins there."""
    assert flow.book("2026-03-31 09:00", at=BEFORE).status_code == 201
    assert flow.book("2026-03-31 09:45", at=BEFORE).status_code == 201
    assert flow.book("2026-03-31 08:15", at=BEFORE).status_code == 201


@pytest.mark.parametrize("shared", ["staff", "client", "room"])
def test_an_overlap_is_refused_and_names_what_is_taken(flow, shared):
    """409 with the resource and its time; nothing of the second visit is written."""
    room = make.make_room(flow.site)
    another, _ = flow.person("Mia Lund", Role.THERAPIST)
    first = {"rooms": [str(room.pk)]}
    second = {"staff": [str(another.pk)], "children": [{"episode": str(flow.another_child().pk)}]}
    second |= {
        "staff": {"staff": [str(flow.assistant.pk)]},
        "client": {"children": [{"episode": str(flow.episode.pk)}]},
        "room": {"rooms": [str(room.pk)]},
    }[shared]
    assert flow.book(NINE, at=BEFORE, **first).status_code == 201
    before = written()
    answer = flow.book("2026-03-31 09:44", at=BEFORE, **second)
    assert (answer.status_code, answer.json()["code"]) == (409, "booking_overlaps")
    taken = {"staff": flow.assistant.pk, "client": flow.child.pk, "room": room.pk}[shared]
    assert answer.json()["collides_with"] == [
        {
            "resource": shared,
            "id": str(taken),
            "starts_at": "2026-03-31T14:00:00Z",
            "ends_at": "2026-03-31T14:45:00Z",
        }
    ]
    assert written() == before


def test_a_collision_names_at_most_twenty(flow):
    """A long visit across many short ones is told the first twenty."""
    other, _ = flow.person("Mia Lund", Role.THERAPIST)
    for number in range(22):
        hour, minute = divmod(6 * 60 + number * 5, 60)
        answer = flow.book(f"2026-03-31 {hour:02}:{minute:02}", at=BEFORE, minutes=5)
        assert answer.status_code == 201
    answer = flow.book("2026-03-31 06:00", at=BEFORE, minutes=240, staff=[str(other.pk)])
    assert (answer.status_code, len(answer.json()["collides_with"])) == (409, 20)


def test_a_room_takes_as_many_visits_as_it_has_places(flow):
    """Two places hold two visits at once, each its own; the third is refused."""
    room = make.make_room(flow.site, places=2)
    pairs = [(flow.person(f"Therapist {n}", Role.THERAPIST)[0], flow.another_child(f"Child {n}")) for n in range(3)]
    answers = [
        flow.book(NINE, at=BEFORE, staff=[str(s.pk)], children=[{"episode": str(e.pk)}], rooms=[str(room.pk)])
        for s, e in pairs
    ]
    assert [answer.status_code for answer in answers] == [201, 201, 409]
    assert sorted(Booking.objects.filter(room=room, live=True).values_list("place", flat=True)) == [1, 2]


def test_a_repeated_put_answers_the_same_visit(flow):
    """The same content under the same id is 200 and writes nothing; other content needs If-Match."""
    visit = make.new_id()
    first = flow.book(NINE, at=BEFORE, visit=visit)
    before = written()
    again = flow.book(NINE, at=BEFORE, visit=visit)
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json() == first.json()
    other = flow.book("2026-03-31 11:00", at=BEFORE, visit=visit)
    assert (other.status_code, other.json()["code"]) == (428, "precondition_required")
    assert written() == before


@pytest.mark.parametrize(
    ("over", "fault"),
    [
        pytest.param({"site": "site"}, ("/site", "not_found"), id="site"),
        pytest.param({"staff": ["staff"]}, ("/staff/0", "not_found"), id="staff"),
        pytest.param({"rooms": ["room"]}, ("/rooms/0", "not_found"), id="room"),
        pytest.param({"children": ["episode"]}, ("/children/0/episode", "not_found"), id="child"),
    ],
)
def test_what_belongs_to_another_organization_does_not_exist(flow, over, fault):
    """Its site, staff, room or child is refused at its place in the request, as an id that nobody has."""
    elsewhere = make.make_organization()
    site = make.make_site(elsewhere)
    theirs = {
        "site": str(site.pk),
        "staff": str(make.make_staff(elsewhere, Role.THERAPIST).pk),
        "room": str(make.make_room(site).pk),
        "episode": {"episode": str(make.make_episode(make.make_client(site)).pk)},
    }
    named = {
        name: theirs[value] if isinstance(value, str) else [theirs[item] for item in value]
        for name, value in over.items()
    }
    before = written()
    answer = flow.book(NINE, at=BEFORE, **named)
    assert (answer.status_code, faults(answer)) == (422, [fault])
    assert written() == before
    nobody = {"site": make.new_id(), "staff": [make.new_id()], "rooms": [make.new_id()]}
    nobody["children"] = [{"episode": make.new_id()}]
    unknown = flow.book(NINE, at=BEFORE, **{name: nobody[name] for name in over})
    assert unknown.json()["errors"] == answer.json()["errors"]


def test_a_child_out_of_reach_is_not_booked(flow):
    """A colleague's child does not exist for her; the front desk books any."""
    desk = flow.person("Lin Sato", Role.FRONT_DESK)[1]
    mia, _ = flow.person("Mia Lund", Role.THERAPIST)
    theirs = [{"episode": str(flow.another_child("Teo", mia).pk)}]
    answer = flow.book(NINE, at=BEFORE, children=theirs)
    assert (answer.status_code, faults(answer)) == (422, [("/children/0/episode", "not_found")])
    assert flow.book(NINE, at=BEFORE, children=theirs, api=desk).status_code == 201


@pytest.mark.parametrize(
    ("over", "status", "fault"),
    [
        pytest.param({"minutes": 26 * 60}, 422, ("/ends_at", "too_long"), id="26 hours"),
        pytest.param({"minutes": 12 * 60 + 1}, 422, ("/ends_at", "too_long"), id="a minute over twelve hours"),
        pytest.param({"minutes": 0}, 422, ("/ends_at", "ends_before_start"), id="no time at all"),
        pytest.param({"minutes": -5}, 422, ("/ends_at", "ends_before_start"), id="ends before it starts"),
        pytest.param({"starts_at": "2026-03-31T09:00:00"}, 400, ("/starts_at", "not_rfc3339"), id="naive"),
        pytest.param({"starts_at": "2026-02-30T09:00:00Z"}, 400, ("/starts_at", "not_rfc3339"), id="30 February"),
        pytest.param({"starts_at": "2026-03-31T25:00:00Z"}, 400, ("/starts_at", "not_rfc3339"), id="25 o'clock"),
        pytest.param({"starts_at": 1774962000}, 400, ("/starts_at", "not_rfc3339"), id="a number"),
        pytest.param({"kind": "party"}, 400, ("/kind", "invalid_choice"), id="unknown kind"),
        pytest.param({"staff": []}, 400, ("/staff", "min_length"), id="nobody"),
        pytest.param({"children": []}, 400, ("/children", "empty"), id="no child"),
        pytest.param({"colour": "red"}, 400, ("/colour", "unknown_member"), id="unknown member"),
    ],
)
def test_impossible_visits_are_refused(flow, over, status, fault):
    """Each with the place and a code; nothing is written."""
    before = written()
    answer = flow.book(NINE, at=BEFORE, **over)
    assert (answer.status_code, faults(answer)[0]) == (status, fault)
    assert written() == before


def test_twelve_hours_are_possible(flow):
    """The longest visit there is."""
    assert flow.book(NINE, at=BEFORE, minutes=12 * 60).status_code == 201


@pytest.mark.parametrize(
    ("times", "code"),
    [
        pytest.param({"starts_at": "2026-03-31T08:59:00-05:00"}, "outside_visit", id="before"),
        pytest.param({"ends_at": "2026-03-31T09:46:00-05:00"}, "outside_visit", id="after"),
        pytest.param({"starts_at": "2026-03-31T09:45:00-05:00"}, "outside_visit", id="for no time"),
    ],
)
def test_a_childs_times_lie_within_the_visits(flow, times, code):
    """She is not there before it begins or after it ends."""
    answer = flow.book(NINE, at=BEFORE, children=[{"episode": str(flow.episode.pk), **times}])
    assert (answer.status_code, faults(answer)) == (422, [("/children/0/starts_at", code)])


def test_nobody_is_in_a_visit_twice(flow):
    """Neither a member of staff, nor a room, nor a child, not even through two episodes."""
    school = make.make_episode(flow.child, setting="school")
    make.put_on_team(flow.assistant, school)
    room = str(make.make_room(flow.site).pk)
    doubled = {
        "/staff/1": {"staff": [str(flow.assistant.pk)] * 2},
        "/rooms/1": {"rooms": [room, room]},
        "/children/1/episode": {
            "kind": "group",
            "children": [{"episode": str(flow.episode.pk)}, {"episode": str(school.pk)}],
        },
    }
    for pointer, over in doubled.items():
        answer = flow.book(NINE, at=BEFORE, **over)
        assert (answer.status_code, faults(answer)) == (422, [(pointer, "doubled")])


def test_a_room_is_at_the_visits_site(flow):
    """A room elsewhere is refused."""
    room = make.make_room(make.make_site(flow.organization))
    answer = flow.book(NINE, at=BEFORE, rooms=[str(room.pk)])
    assert (answer.status_code, faults(answer)) == (422, [("/rooms/0", "another_site")])


def test_a_part_keeps_its_own_id(flow):
    """A tablet gives the child's part its id; one that is taken is refused, and nothing is written."""
    part = make.new_id()
    child = {"episode": str(flow.episode.pk), "id": part}
    assert flow.book(NINE, at=BEFORE, children=[child]).json()["children"][0]["id"] == part
    before = written()
    assert flow.book("2026-03-31 11:00", at=BEFORE, children=[child]).status_code == 409
    assert written() == before


# --- What is refused ahead, and recorded when it took place ----------------------------------------------


def refused_ahead_only(flow, code: str, start: str = NINE, **over) -> None:
    before = written()
    ahead = flow.book(start, at="2026-03-01 09:00", **over)
    assert (ahead.status_code, ahead.json()["code"]) == (422, code)
    assert written() == before
    assert flow.book(start, at="2026-04-01 09:00", **over).status_code == 201


def test_an_evaluation_by_an_assistant(flow):
    """Not booked for her ahead; written down if it took place."""
    refused_ahead_only(flow, "evaluation_needs_therapist", kind="evaluation")


@pytest.mark.parametrize(("kind", "flags"), [("evaluation", ["evaluation_by_assistant"]), ("treatment", [])])
def test_an_evaluation_that_an_assistant_documents_is_flagged(flow, kind, flags):
    """Her note of an evaluation is signed all the same, and its reader is told first; of a treatment nothing is."""
    note = flow.put(flow.visit("2026-03-31", kind=kind), [], at="2026-03-31 16:00")
    shown = flow.sign(note, at="2026-03-31 16:05").json()["current"]["flags"]
    assert [flag["check"] for flag in shown] == flags


def test_an_assistant_without_supervision_on_the_day(flow):
    """The day of the visit decides, not the day of booking."""
    Supervision.objects.filter(assistant=flow.assistant).update(ends_on=date(2026, 3, 30))
    refused_ahead_only(flow, "no_supervision_on_day")


def test_supervision_of_another_episode_is_none(flow):
    """A narrower assignment for another child does not help this one."""
    Supervision.objects.filter(assistant=flow.assistant).update(
        scope="episode", episode=flow.another_child(), starts_on=date(2025, 1, 1)
    )
    refused_ahead_only(flow, "no_supervision_on_day")


def test_somebody_who_treats_nobody(flow):
    """The front desk is not booked to treat."""
    desk, _ = flow.person("Lin Sato", Role.FRONT_DESK)
    refused_ahead_only(flow, "no_clinician", staff=[str(desk.pk)])


def test_a_closed_episode(flow):
    """No visit is planned in an episode that is over; one that took place before is still entered."""
    flow.episode.status, flow.episode.closed_on = "finished", date(2026, 3, 20)
    flow.episode.save()
    refused_ahead_only(flow, "episode_closed")


def test_a_therapist_needs_no_supervision(flow):
    """She is booked for an evaluation without anybody above her."""
    assert flow.book(NINE, at=BEFORE, kind="evaluation", staff=[str(flow.supervisor.pk)]).status_code == 201


# --- Reading ---------------------------------------------------------------------------------------------


def test_visits_are_found_by_day_child_and_staff(flow):
    """Each filter narrows by exactly what it says."""
    other = flow.another_child()
    mia, _ = flow.person("Mia Lund", Role.THERAPIST)
    first = flow.book(NINE, at=BEFORE).json()["id"]
    second = flow.book("2026-04-01 09:00", at=BEFORE, children=[{"episode": str(other.pk)}]).json()["id"]
    third = flow.book("2026-04-02 09:00", at=BEFORE, staff=[str(mia.pk)]).json()["id"]
    asked = {
        (): [third, second, first],
        ("service_date", "2026-03-31"): [first],
        ("service_date_from", "2026-04-01"): [third, second],
        ("service_date_until", "2026-04-01"): [second, first],
        ("client", str(other.client_id)): [second],
        ("staff", str(mia.pk)): [third],
        ("status", "fulfilled"): [],
        ("site", str(flow.site.pk)): [third, second, first],
    }
    for choice, expected in asked.items():
        answer = flow.get("visits/", at=BEFORE, **dict([choice] if choice else []))
        assert ids(answer) == expected, choice
    assert flow.get("visits/", at=BEFORE, colour="red").status_code == 400
