"""Covers end with their last day; what was written or signed meanwhile stays with whoever did."""

from datetime import date

import pytest

from clinic.enums import CareRole, Role, SupervisionKind
from tests import factories as make
from tests.scheduling.flow import Flow

pytestmark = pytest.mark.django_db
FIRST, LAST = date(2026, 3, 2), date(2026, 3, 6)
DAYS = {"starts_on": FIRST, "ends_on": LAST}


@pytest.fixture
def flow():
    return Flow()


@pytest.fixture
def sol(flow):
    """A therapist who covers Ruth's supervision for a week."""
    staff, api = flow.person("Sol Brandt", Role.THERAPIST)
    make.make_supervision(flow.assistant, staff, kind=SupervisionKind.COVERING.value, **DAYS)
    return api


@pytest.fixture
def nell(flow):
    """An assistant who covers on the care team for a week."""
    staff, api = flow.person("Nell Toft", Role.ASSISTANT)
    make.put_on_team(staff, flow.episode, role=CareRole.COVERING.value, **DAYS)
    make.make_supervision(staff, flow.supervisor)
    return staff, api


def statuses(flow, api, *paths):
    """What she gets on the last day of the cover, and on the day after."""
    return [[flow.get(path, at=f"{day} 09:00", api=api).status_code for path in paths] for day in (LAST, "2026-03-07")]


def test_a_covering_supervisors_reach_ends_with_her_last_day(flow, sol):
    """Child, goals and notes are there on it and gone the day after; her queue is empty again."""
    note = flow.put(flow.visit("2026-03-03"), [], at="2026-03-03 17:00")
    flow.sign(note, at="2026-03-03 17:05")
    paths = (f"clients/{flow.child.pk}/", f"episodes/{flow.episode.pk}/", f"notes/{note}/")
    assert statuses(flow, sol, *paths) == [[200] * 3, [404] * 3]
    queue = [flow.get("cosign-queue/", at=f"{day} 09:00", api=sol).json()["results"] for day in (LAST, "2026-03-07")]
    assert [len(rows) for rows in queue] == [1, 0]


def test_what_she_cosigned_while_covering_stays_hers_to_read(flow, sol):
    """Signers keep what they signed, for ever, and nothing else of the child."""
    signed, other = [flow.put(flow.visit(day), [], at=f"{day} 17:00") for day in ("2026-03-03", "2026-03-04")]
    for note in (signed, other):
        flow.sign(note, at="2026-03-04 17:05")
    digest = flow.read(signed)["current"]["digest"]
    assert flow.cosign(signed, digest=digest, at="2026-03-05 09:00", api=sol).status_code == 200
    paths = (f"notes/{signed}/", f"documents/{signed}/verify/", f"notes/{other}/", f"clients/{flow.child.pk}/")
    assert statuses(flow, sol, *paths)[1] == [200, 200, 404, 404]
    listed = flow.get("notes/", at="2027-03-07 09:00", api=sol).json()["results"]
    assert [row["id"] for row in listed] == [signed]


def test_whoever_covered_on_the_team_finishes_her_own_note_and_sees_no_more(flow, nell):
    """Her draft of the last day can be signed the day after; the child is out of her reach by then."""
    staff, api = nell
    part = flow.visit(str(LAST), api=api, staff=staff)
    note = flow.put(part, [], at=f"{LAST} 17:00", api=api)
    flow.get(f"clients/{flow.child.pk}/", at=f"{LAST} 17:00", api=api)
    # The booking's own place ends with the signature, the cover's with its last day.
    signed = flow.sign(note, at="2026-03-07 09:00", api=api)
    assert signed.status_code == 200
    after = [
        flow.get(path, at="2026-03-08 09:00", api=api).status_code
        for path in (f"notes/{note}/", f"clients/{flow.child.pk}/", f"episodes/{flow.episode.pk}/")
    ]
    assert after == [200, 404, 404]


def test_the_front_desk_learns_of_no_note_and_no_goal(flow):
    """A child's part shows its notes to those who may open one, and what is planned to those who see goals."""
    part = flow.visit("2026-03-03")
    note = flow.put(part, [], at="2026-03-03 17:00")
    _, desk = flow.person("Kit Moor", Role.FRONT_DESK)
    _, administrator = flow.person("Iris Vale", Role.ADMINISTRATOR)
    shown = [
        flow.get(f"participations/{part}/", at="2026-03-03 18:00", api=api).json()["notes"]
        for api in (flow.ana, administrator, desk)
    ]
    assert shown == [[note], [note], []]
    goal = str(flow.goal().pk)
    children = [{"episode": str(flow.episode.pk), "goals": [goal]}]
    (child,) = flow.book("2026-03-10 09:00", at="2026-03-09 12:00", children=children).json()["children"]
    shown = [
        flow.get(f"participations/{child['id']}/", at="2026-03-09 13:00", api=api).json()["planned_goals"]
        for api in (flow.ana, administrator, desk)
    ]
    assert shown == [[goal], [], []]


def test_a_time_taken_out_of_her_reach_tells_no_more_than_she_asked(flow):
    """Ana books into another's long visit and learns only that her three quarters of an hour are taken."""
    mia, _ = flow.person("Mia Lund", Role.THERAPIST)
    _, administrator = flow.person("Iris Vale", Role.ADMINISTRATOR)
    elsewhere = flow.another_child("Teo", mia)
    asked = {"staff": [str(mia.pk)], "children": [{"episode": str(elsewhere.pk)}]}
    at = "2026-03-24 09:00"
    assert flow.book("2026-03-31 08:00", at=at, minutes=240, api=administrator, **asked).status_code == 201
    with_mia = {"staff": [str(mia.pk)]}
    (told,) = flow.book("2026-03-31 09:00", at=at, **with_mia).json()["collides_with"]
    assert (told["starts_at"], told["ends_at"]) == ("2026-03-31T14:00:00Z", "2026-03-31T14:45:00Z")
    (told,) = flow.book("2026-03-31 09:00", at=at, api=administrator, **with_mia).json()["collides_with"]
    assert (told["starts_at"], told["ends_at"]) == ("2026-03-31T13:00:00Z", "2026-03-31T17:00:00Z")
