"""The note in the wrong child's chart: out of one, a draft in the right one as a late entry, in one act."""

import pytest
import time_machine

from clinic.enums import Role
from clinic.models import Document, EnteredInError, Notice
from goals.models import Goal, Measurement
from scheduling.models import ParticipationNote
from tests import factories as make
from tests.clinic.asking import faults
from tests.scheduling.flow import PIN, Flow

pytestmark = pytest.mark.django_db

DAY = "2026-03-31"
MARK = "Buttoned the red vest with one cue."


@pytest.fixture
def flow():
    """Twins, both treated by Ana; the supervisor answers for her work with either."""
    flow = Flow()
    flow.twin = flow.another_child("Teo")
    make.put_on_team(flow.supervisor, flow.twin)
    return flow


@pytest.fixture
def wrong(flow):
    """The part of the child's visit into which the note was written."""
    return flow.visit(DAY, start="09:00")


@pytest.fixture
def right(flow):
    """The part of her twin's visit, which it was about."""
    return flow.visit(DAY, start="10:00", children=[{"episode": str(flow.twin.pk)}])


@pytest.fixture
def goal(flow):
    return flow.goal()


@pytest.fixture
def note(flow, wrong, goal):
    """Signed and co-signed in the wrong chart."""
    measured = [{"goal": str(goal.pk), "successes": 7, "opportunities": 10}]
    note = flow.put(wrong, measured, at=f"{DAY} 12:00", subjective=MARK)
    digest = flow.sign(note, at=f"{DAY} 12:05").json()["current"]["digest"]
    assert flow.cosign(note, digest=digest, at=f"{DAY} 13:00").status_code == 200
    return note


def twins_goal(flow) -> Goal:
    return Goal.objects.create(
        organization=flow.organization,
        episode=flow.twin,
        client=flow.twin.client,
        number=1,
        measure="accuracy",
        proposed_by=flow.supervisor,
        text="fastens vest buttons",
        purpose="improve",
        direction="increase",
        lifecycle="active",
        starts_on=make.LONG_AGO,
    )


def move(flow, note, part, *, new=None, api=None, at=f"{DAY} 15:00", match=None, key=None, **over):
    api = api or flow.ruth
    match = match or Document.objects.get(pk=note).version
    body = {"pin": PIN, "reason": "This was her twin's visit.", "participation": part, "note": new or make.new_id()}
    with time_machine.travel(make.at(at), tick=False):
        return api.post(
            f"/api/v1/notes/{note}/move/",
            body | over,
            format="json",
            HTTP_IF_MATCH=f'"{match}"',
            HTTP_IDEMPOTENCY_KEY=key or make.new_id(),
        )


def moved(flow, note, part, **over) -> dict:
    answer = move(flow, note, part, **over)
    assert answer.status_code == 201, answer.content
    return answer.json()


def counting(goal) -> list[int]:
    rows = Measurement.objects.filter(goal=goal, document__state__in=["signed", "cosigned"])
    return list(rows.values_list("successes", flat=True))


def test_it_leaves_one_chart_and_is_a_draft_in_the_other(flow, note, wrong, right, goal):
    """One act: in error where it stood; its author's own draft, with what she wrote, where it belongs."""
    new = make.new_id()
    told = moved(flow, note, right, new=new)
    assert (told["in_error"]["id"], told["in_error"]["state"]) == (note, "entered-in-error")
    assert {name: told["draft"][name] for name in ("id", "state", "client", "author", "participation", "draft")} == {
        "id": new,
        "state": "draft",
        "client": str(flow.twin.client_id),
        "author": str(flow.assistant.pk),
        "participation": right,
        "draft": None,
    }
    hers = flow.read(new)["draft"]
    assert (hers["subjective"], hers["participation"], hers["measurements"]) == (MARK, right, [])
    assert (told["measurements_left"], told["addenda_left"]) == (1, 0)
    assert counting(goal) == []
    day = flow.get("day/", at=f"{DAY} 16:00").json()
    children = {child["participation"]: child["note"] for visit in day["visits"] for child in visit["children"]}
    assert children == {wrong: None, right: new}
    assert [(row["participation"], row["state"]) for row in day["unsigned"]] == [(wrong, "missing")]


def test_numbers_go_only_to_a_goal_that_is_named(flow, note, right, goal):
    """Seven of ten goes to the twin's goal because somebody said so; nothing is guessed."""
    hers = twins_goal(flow)
    told = moved(flow, note, right, goals=[{"goal": str(goal.pk), "becomes": str(hers.pk)}])
    assert told["measurements_left"] == 0
    new = told["draft"]["id"]
    assert flow.read(new)["draft"]["measurements"] == [{"goal": str(hers.pk), "successes": 7, "opportunities": 10}]
    assert flow.sign(new, at="2026-04-01 08:00").json()["state"] == "signed"
    assert (counting(goal), counting(hers)) == ([], [7])


def test_a_goal_of_yet_another_child_is_refused(flow, note, right, goal):
    """As one that is not there; nothing is written and the note stands."""
    answer = move(flow, note, right, goals=[{"goal": str(goal.pk), "becomes": make.new_id()}])
    assert (answer.status_code, faults(answer)) == (422, [("/measurements/0/goal", "not_found")])
    assert (EnteredInError.objects.count(), flow.read(note)["state"]) == (0, "cosigned")


def test_it_is_signed_as_a_late_entry(flow, note, right):
    """However soon: the reader is told that it was first written elsewhere; it is co-signed like any other."""
    new = moved(flow, note, right)["draft"]["id"]
    signed = flow.sign(new, at=f"{DAY} 16:00").json()
    (flag,) = [flag for flag in signed["current"]["flags"] if flag["check"] == "moved_here"]
    assert flag["sentence"].startswith("late entry")
    assert (signed["requires_cosignature"], signed["cosign_owner"]) == (True, str(flow.supervisor.pk))
    assert flow.cosign(new, digest=signed["current"]["digest"], at=f"{DAY} 17:00").json()["state"] == "cosigned"


def test_who_reaches_only_the_wrong_chart_reads_it_no_more(flow, note, right):
    """A colleague there sees that a note was in error, whose and why, not what was written of another child."""
    _, ines = colleague(flow, flow.episode)
    shown = f"/api/v1/notes/{note}/"
    assert MARK in ines.get(shown).content.decode()
    moved(flow, note, right)
    for url in (shown, f"{shown}versions/", f"/api/v1/notes/?episode={flow.episode.pk}"):
        answer = ines.get(url)
        assert answer.status_code == 200
        assert MARK not in answer.content.decode()
    told = ines.get(shown).json()
    assert (told["current"]["withheld"], told["current"]["content"]) == (True, {})
    assert told["entered_in_error"]["by"] == str(flow.supervisor.pk)
    for reader in (flow.ana, flow.ruth):
        assert MARK in reader.get(shown).content.decode()


def test_who_reaches_both_still_reads_it(flow, note, right):
    """It is no secret from the twin's own team."""
    staff, ines = colleague(flow, flow.episode)
    make.put_on_team(staff, flow.twin)
    moved(flow, note, right)
    assert MARK in ines.get(f"/api/v1/notes/{note}/").content.decode()


def colleague(flow, episode):
    staff, api = flow.person("Ines Aubry", Role.THERAPIST)
    make.put_on_team(staff, episode)
    return staff, api


def test_two_that_were_swapped_come_to_their_places(flow, wrong, right, note):
    """One is entered in error, the other moved into its place, then the first into the other's."""
    other = flow.put(right, [], at=f"{DAY} 12:30", subjective="Mirela's own visit.")
    flow.sign(other, at=f"{DAY} 12:35")
    blocked = move(flow, note, right)
    assert (blocked.status_code, blocked.json()["existing_id"]) == (409, other)
    in_error(flow, other)
    first = moved(flow, note, right)["draft"]["id"]
    second = moved(flow, other, wrong)["draft"]["id"]
    assert [flow.read(row)["draft"]["subjective"] for row in (first, second)] == [MARK, "Mirela's own visit."]
    again = move(flow, note, right)
    assert (again.status_code, again.json()["code"]) == (409, "note_exists")
    in_error(flow, first)
    twice = move(flow, note, right)
    assert (twice.status_code, twice.json()["code"]) == (409, "already_moved")


def in_error(flow, note) -> None:
    version = Document.objects.get(pk=note).version
    body = {"reason": "Written in the wrong chart."}
    answer = flow.act(flow.ruth, note, "enter-in-error", body, at=f"{DAY} 14:00", HTTP_IF_MATCH=f'"{version}"')
    assert answer.status_code == 200, answer.content


def test_a_note_of_another_visit_of_the_child_keeps_its_numbers(flow, note, goal):
    """Within an episode all of them go along, and count on the right day once it is signed."""
    earlier = flow.visit("2026-03-24")
    told = moved(flow, note, earlier)
    assert told["measurements_left"] == 0
    assert flow.sign(told["draft"]["id"], at="2026-04-01 08:00").json()["service_date"] == "2026-03-24"
    assert counting(goal) == [7]


def test_an_assistant_moves_her_own_draft(flow, right, wrong):
    """Before she signs it; what she signed, a therapist moves."""
    draft = flow.put(wrong, [], at=f"{DAY} 12:00", subjective=MARK)
    new = moved(flow, draft, right, api=flow.ana)["draft"]["id"]
    assert flow.read(new)["draft"]["subjective"] == MARK
    assert Notice.objects.count() == 0
    flow.sign(new, at=f"{DAY} 16:00")
    refused = move(flow, new, wrong, api=flow.ana, at=f"{DAY} 17:00")
    assert (refused.status_code, refused.json()["code"]) == (403, "needs_therapist")


def test_what_is_refused(flow, note, wrong, right):
    """A part out of reach as one that is not there; where it stands; a visit of which its author was no part."""
    strangers = flow.another_child("Ilo")
    out = flow.visit(DAY, start="14:00", children=[{"episode": str(strangers.pk)}])
    make.put_on_team(flow.supervisor, strangers)
    ruths = flow.visit(
        DAY, start="15:00", api=flow.ruth, staff=flow.supervisor, children=[{"episode": str(strangers.pk)}]
    )
    _, elsewhere = colleague(flow, flow.episode)
    refused = [
        (move(flow, note, out, api=elsewhere), "not_found"),
        (move(flow, note, make.new_id()), "not_found"),
        (move(flow, note, wrong), "same"),
        (move(flow, note, ruths), "not_own_visit"),
    ]
    for answer, code in refused:
        assert (answer.status_code, faults(answer)) == (422, [("/participation", code)])
    assert move(flow, note, right, match=1).status_code == 412
    assert move(flow, note, right, pin="000000").status_code == 403
    assert (EnteredInError.objects.count(), flow.read(note)["state"]) == (0, "cosigned")


def test_the_same_request_twice_moves_once(flow, note, right):
    """A tablet that did not hear the answer asks again under its key."""
    key, new, match = make.new_id(), make.new_id(), Document.objects.get(pk=note).version
    first = move(flow, note, right, new=new, key=key, match=match)
    again = move(flow, note, right, new=new, key=key, match=match)
    assert (first.status_code, again.status_code) == (201, 201)
    assert first.json() == again.json()
    assert ParticipationNote.objects.filter(moved_from__isnull=False).count() == 1
