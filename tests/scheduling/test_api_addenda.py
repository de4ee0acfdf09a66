"""Addenda: to final notes, by their authors, with corrections that count from their signature."""

import json
from decimal import Decimal

import pytest
import time_machine

from clinic.models import ChangeFeed, Document, OutboxMessage
from goals.models import Measurement
from tests import factories as make
from tests.clinic.asking import faults, ids
from tests.scheduling.flow import PIN, Flow

pytestmark = pytest.mark.django_db

DAY = "2026-03-31"


@pytest.fixture
def flow():
    return Flow()


@pytest.fixture
def goal(flow):
    return flow.goal_of_ten(baseline=[3], needed=8)


@pytest.fixture
def note(flow, goal):
    """A co-signed note of seven of ten."""
    note = flow.put_note(flow.visit(DAY), successes=7, goal=goal, at=f"{DAY} 10:00")
    digest = flow.sign(note, at=f"{DAY} 10:05").json()["current"]["digest"]
    assert flow.cosign(note, digest=digest, at=f"{DAY} 11:00").status_code == 200
    return note


def written() -> tuple[int, ...]:
    return tuple(model.objects.count() for model in (Document, Measurement, OutboxMessage, ChangeFeed))


def put(flow, note, *, addendum=None, at=f"{DAY} 12:00", api=None, match=None, **over):
    body = {"amends": note, "text": "The second trial was with the left hand.", **over}
    headers = {} if match is None else {"HTTP_IF_MATCH": f'"{match}"'}
    with time_machine.travel(make.at(at), tick=False):
        return (api or flow.ana).put(f"/api/v1/addenda/{addendum or make.new_id()}/", body, format="json", **headers)


def act(flow, addendum, name, *, api=None, at=f"{DAY} 12:05", match=1, **body):
    headers = {"HTTP_IDEMPOTENCY_KEY": make.new_id()}
    if match is not None:
        headers["HTTP_IF_MATCH"] = f'"{match}"'
    with time_machine.travel(make.at(at), tick=False):
        return (api or flow.ana).post(
            f"/api/v1/addenda/{addendum}/{name}/", {"pin": PIN, **body}, format="json", **headers
        )


def signed(flow, note, **over) -> dict:
    addendum = put(flow, note, **over).json()["id"]
    answer = act(flow, addendum, "sign")
    assert answer.status_code == 200, answer.content
    return answer.json()


def of_day(goal) -> Measurement:
    return Measurement.objects.get(goal_id=goal, service_date=DAY, document__kind="visit_note")


def level(flow, goal) -> Decimal:
    flow.recompute(goal)
    found = flow.progress(goal)
    return Decimal(next(v["value"] for v in found["visits"] if v["day"] == DAY))


def test_an_addendum_stands_beside_its_note(flow, note):
    """It has its own state, the note's day and child, and is bound to the note's version by digest."""
    told = signed(flow, note)
    assert {name: told[name] for name in ("kind", "state", "amends", "service_date", "participation")} == {
        "kind": "addendum",
        "state": "signed",
        "amends": note,
        "service_date": DAY,
        "participation": None,
    }
    content = told["current"]["content"]
    assert content["amends"] == note
    assert content["amends_digest"] == flow.read(note)["current"]["digest"]
    assert content["body"]["text"] == "The second trial was with the left hand."
    assert flow.read(note)["state"] == "cosigned"
    assert ids(flow.ana.get("/api/v1/addenda/")) == [told["id"]]
    assert told["id"] not in ids(flow.ana.get("/api/v1/notes/"))


def test_an_assistants_addendum_is_cosigned_too(flow, note):
    """It waits in her supervisor's queue, under its kind."""
    told = signed(flow, note)
    assert (told["requires_cosignature"], told["cosign_owner"]) == (True, str(flow.supervisor.pk))
    (row,) = flow.get("cosign-queue/", at=f"{DAY} 13:00", api=flow.ruth).json()["results"][-1:]
    assert (row["document"], row["kind"]) == (told["id"], "addendum")
    flow.open(told["id"], at=f"{DAY} 13:00", resource="addenda")
    answer = act(flow, told["id"], "cosign", api=flow.ruth, match=None, digest=told["current"]["digest"])
    assert (answer.status_code, answer.json()["state"]) == (200, "cosigned")


def test_a_correction_counts_from_its_signature(flow, goal, note):
    """Seven becomes eight once it is signed, not while it is a draft; the old row stays."""
    old = of_day(goal)
    correction = {"goal": str(goal), "successes": 8, "opportunities": 10, "replaces": str(old.pk)}
    addendum = put(flow, note, measurements=[correction]).json()["id"]
    assert level(flow, goal) == Decimal("0.7")
    assert act(flow, addendum, "sign").status_code == 200
    assert level(flow, goal) == Decimal("0.8")
    new = Measurement.objects.get(document_id=addendum)
    assert (new.replaces_id, new.successes, of_day(goal).successes) == (old.pk, 8, 7)
    flow.ana.get(f"/api/v1/goals/{goal}/progress/")
    before = make.at(f"{DAY} 12:04").isoformat()
    with time_machine.travel(make.at("2026-04-01 09:00"), tick=False):
        known = flow.progress(goal, known_at=before)
    assert Decimal(next(v["value"] for v in known["visits"] if v["day"] == DAY)) == Decimal("0.7")


def test_a_returned_correction_does_not_count(flow, goal, note):
    """The supervisor sends it back: seven again."""
    correction = {"goal": str(goal), "successes": 8, "opportunities": 10, "replaces": str(of_day(goal).pk)}
    told = signed(flow, note, measurements=[correction])
    assert level(flow, goal) == Decimal("0.8")
    back = act(
        flow, told["id"], "return", api=flow.ruth, match=None, digest=told["current"]["digest"], reason="Are you sure?"
    )
    assert (back.status_code, back.json()["state"]) == (200, "returned")
    assert level(flow, goal) == Decimal("0.7")


def test_a_number_is_corrected_once(flow, goal, note):
    """A second correction of the same row is refused while it is written, and at signing if it was quicker."""
    correction = {"goal": str(goal), "successes": 8, "opportunities": 10, "replaces": str(of_day(goal).pk)}
    first = put(flow, note, measurements=[correction]).json()["id"]
    second = put(flow, note, measurements=[{**correction, "successes": 9}]).json()["id"]
    assert act(flow, first, "sign").status_code == 200
    before = written()
    late = act(flow, second, "sign")
    assert (late.status_code, faults(late)) == (422, [("/measurements/0/replaces", "not_found")])
    assert written() == before
    third = put(flow, note, measurements=[{**correction, "successes": 6}])
    assert (third.status_code, faults(third)) == (422, [("/measurements/0/replaces", "not_found")])


def test_a_correction_is_corrected(flow, goal, note):
    """The number that counts is named; all point to the first, and the last that stands counts, at every time known."""
    old = of_day(goal)
    eight = correct(flow, note, goal, old, 8, at=f"{DAY} 12:05")
    nine = correct(flow, note, goal, eight, 9, at=f"{DAY} 13:05")
    ten = correct(flow, note, goal, nine, 10, at=f"{DAY} 14:05")
    assert {row.replaces_id for row in (eight, nine, ten)} == {old.pk}
    assert [known(flow, goal, f"{DAY} {time}") for time in ("12:04", "12:06", "13:06", "14:06")] == [
        Decimal(tenths) / 10 for tenths in (7, 8, 9, 10)
    ]
    shown = flow.ana.get(f"/api/v1/goals/{goal}/measurements/").json()["results"]
    assert [row["id"] for row in shown if row["counts"] and row["service_date"] == DAY] == [str(ten.pk)]


def test_the_correction_between_can_be_in_error(flow, goal, note):
    """What was corrected after it still counts, the first number does not come back beside it."""
    eight = correct(flow, note, goal, of_day(goal), 8, at=f"{DAY} 12:05")
    nine = correct(flow, note, goal, eight, 9, at=f"{DAY} 13:05")
    in_error(flow, eight.document_id, at=f"{DAY} 15:00")
    assert level(flow, goal) == Decimal("0.9")
    in_error(flow, nine.document_id, at=f"{DAY} 16:00")
    assert level(flow, goal) == Decimal("0.7")
    assert known(flow, goal, f"{DAY} 15:59") == Decimal("0.9")


def test_two_rows_of_an_addendum_do_not_correct_one_number(flow, goal, note):
    """Which of them would count? 422 at the second."""
    correction = {"goal": str(goal), "successes": 8, "opportunities": 10, "replaces": str(of_day(goal).pk)}
    answer = put(flow, note, measurements=[correction, {**correction, "slot": 2}])
    assert (answer.status_code, faults(answer)) == (422, [("/measurements/1/replaces", "doubled")])


def correct(flow, note, goal, row, successes, *, at) -> Measurement:
    correction = {"goal": str(goal), "successes": successes, "opportunities": 10, "replaces": str(row.pk)}
    addendum = put(flow, note, measurements=[correction], at=at).json()["id"]
    assert act(flow, addendum, "sign", at=at).status_code == 200
    return Measurement.objects.get(document_id=addendum)


def in_error(flow, addendum, *, at) -> None:
    version = Document.objects.get(pk=addendum).version
    answer = act(flow, addendum, "enter-in-error", api=flow.ruth, at=at, match=version, reason="The sheet was misread.")
    assert answer.status_code == 200, answer.content


def known(flow, goal, local) -> Decimal:
    with time_machine.travel(make.at("2026-04-01 09:00"), tick=False):
        found = flow.progress(goal, known_at=make.at(local).isoformat())
    return Decimal(next(v["value"] for v in found["visits"] if v["day"] == DAY))


def test_only_a_final_note_is_amended(flow, goal):
    """A draft is changed, a signed one returned, a returned one revised: 409 with not_final."""
    note = flow.put_note(flow.visit(DAY), successes=7, goal=goal, at=f"{DAY} 10:00")
    refuse(flow, note)
    digest = flow.sign(note, at=f"{DAY} 10:05").json()["current"]["digest"]
    refuse(flow, note)
    flow.send_back(note, digest=digest, reason="Which cues?", at=f"{DAY} 11:00")
    refuse(flow, note)


def refuse(flow, note) -> None:
    before = written()
    answer = put(flow, note)
    assert (answer.status_code, answer.json()["code"]) == (409, "not_final")
    assert written() == before


def test_a_therapists_signed_note_is_final(flow):
    """It waits for nobody, so it is amended at once, and so is the addendum final."""
    part = flow.visit(DAY, api=flow.ruth, staff=flow.supervisor)
    note = flow.put(part, [], at=f"{DAY} 10:00", api=flow.ruth)
    flow.sign(note, at=f"{DAY} 10:05", api=flow.ruth)
    addendum = put(flow, note, api=flow.ruth).json()["id"]
    told = act(flow, addendum, "sign", api=flow.ruth).json()
    assert (told["state"], told["requires_cosignature"]) == ("signed", False)


def test_only_the_author_amends(flow, note):
    """Her supervisor, who co-signed it, writes none to it; a stranger finds no such note."""
    before = written()
    answer = put(flow, note, api=flow.ruth)
    assert (answer.status_code, answer.json()["code"]) == (403, "not_author")
    elsewhere = put(flow, make.new_id())
    assert (elsewhere.status_code, faults(elsewhere)) == (422, [("/amends", "not_found")])
    assert written() == before


def test_an_addendum_is_not_amended(flow, note):
    """Another one is added to the note."""
    addendum = signed(flow, note)["id"]
    answer = put(flow, addendum)
    assert (answer.status_code, faults(answer)) == (422, [("/amends", "not_found")])


def test_an_addendum_stays_with_its_note(flow, goal, note):
    """Its draft is changed under its version, not moved."""
    addendum = put(flow, note).json()["id"]
    other = flow.put_note(flow.visit(DAY, start="13:00"), successes=7, goal=goal, at=f"{DAY} 14:00")
    moved = put(flow, other, addendum=addendum, match=1)
    assert (moved.status_code, faults(moved)) == (422, [("/amends", "fixed")])
    changed = put(flow, note, addendum=addendum, match=1, text="The third trial.")
    assert (changed.status_code, changed.json()["draft"]["text"]) == (200, "The third trial.")
    assert put(flow, note, addendum=addendum, text="Other").status_code == 428


@pytest.mark.parametrize(
    ("over", "fault"),
    [
        pytest.param({"text": ""}, ("/text", "blank"), id="no text"),
        pytest.param({"text": "x" * 20_001}, ("/text", "too_long"), id="20,001 characters"),
        pytest.param({"plan": "x"}, ("/plan", "unknown_member"), id="unknown member"),
    ],
)
def test_what_no_addendum_can_say(flow, note, over, fault):
    """400 at its place; nothing is written."""
    before = written()
    answer = put(flow, note, **over)
    assert (answer.status_code, faults(answer)) == (400, [fault])
    assert written() == before


def test_a_note_id_is_no_addendum_and_the_reverse(flow, note):
    """Each door knows its own kind: the other one's id is 404, or taken."""
    addendum = put(flow, note).json()["id"]
    assert flow.ana.get(f"/api/v1/addenda/{note}/").status_code == 404
    assert flow.ana.get(f"/api/v1/notes/{addendum}/").status_code == 404
    before = written()
    part = json.loads(flow.ana.get(f"/api/v1/notes/{note}/").content)["participation"]
    answer = flow.ana.put(f"/api/v1/notes/{addendum}/", {"participation": part}, format="json")
    assert answer.status_code == 404
    assert act(flow, addendum, "sign", match=None).status_code == 428
    assert written() == before
