"""Entered in error: by a therapist with a reason; it stays readable and leaves every count, once and for ever."""

from decimal import Decimal

import pytest
import time_machine

from clinic.models import EnteredInError, Notice, OutboxMessage
from goals.models import Measurement
from tests import factories as make
from tests.scheduling.flow import PIN, Flow

pytestmark = pytest.mark.django_db

DAY = "2026-03-31"
REASON = "Written for the visit of another day."


@pytest.fixture
def flow():
    return Flow()


@pytest.fixture
def goal(flow):
    return flow.goal_of_ten(baseline=[3, 3, 4], needed=8)


@pytest.fixture
def part(flow):
    return flow.visit(DAY)


@pytest.fixture
def note(flow, goal, part):
    """A co-signed note of seven of ten."""
    note = flow.put_note(part, successes=7, goal=goal, at=f"{DAY} 10:00")
    digest = flow.sign(note, at=f"{DAY} 10:05").json()["current"]["digest"]
    assert flow.cosign(note, digest=digest, at=f"{DAY} 11:00").status_code == 200
    return note


def err(flow, document, *, resource="notes", at=f"{DAY} 15:00", api=None, match=None, pin=PIN, reason=REASON):
    api = api or flow.ruth
    match = match or api.get(f"/api/v1/{resource}/{document}/").json()["version"]
    with time_machine.travel(make.at(at), tick=False):
        return api.post(
            f"/api/v1/{resource}/{document}/enter-in-error/",
            {"pin": pin, "reason": reason},
            format="json",
            HTTP_IF_MATCH=f'"{match}"',
            HTTP_IDEMPOTENCY_KEY=make.new_id(),
        )


def amend(flow, note, *, successes, goal, replaces, at):
    """A signed addendum of the author that corrects a number."""
    addendum = make.new_id()
    corrected = {"goal": str(goal), "successes": successes, "opportunities": 10, "replaces": str(replaces.pk)}
    with time_machine.travel(make.at(at), tick=False):
        body = {"amends": note, "text": "Counted again.", "measurements": [corrected]}
        assert flow.ana.put(f"/api/v1/addenda/{addendum}/", body, format="json").status_code == 201
        keys = {"HTTP_IF_MATCH": '"1"', "HTTP_IDEMPOTENCY_KEY": make.new_id()}
        signed = flow.ana.post(f"/api/v1/addenda/{addendum}/sign/", {"pin": PIN}, format="json", **keys)
    assert signed.status_code == 200, signed.content
    return addendum


def values(flow, goal, **asked) -> list[Decimal]:
    """The values of the intervention's visits, as the goal's progress tells them."""
    flow.recompute(goal)
    with time_machine.travel(make.at("2026-04-02 09:00"), tick=False):
        found = flow.progress(goal, **asked)
    return [Decimal(visit["value"]) for visit in found["visits"] if visit["day"] >= "2026-03-03"]


def test_it_stays_readable_with_who_when_and_why(flow, note):
    """The signed version, its signatures and its verdict stand as they were, and verify."""
    before = flow.read(note)
    answer = err(flow, note)
    assert answer.status_code == 200, answer.content
    after = flow.read(note)
    assert (after["state"], after["current"]) == ("entered-in-error", before["current"])
    assert after["entered_in_error"] == {
        "by": str(flow.supervisor.pk),
        "at": "2026-03-31T20:00:00Z",
        "reason": REASON,
    }
    assert before["entered_in_error"] is None
    assert flow.ana.get(f"/api/v1/documents/{note}/verify/").json()["intact"] is True


def test_it_leaves_every_count(flow, goal, note, part):
    """Its numbers, the note of the visit, the queue: nothing counts it any more; earlier it did."""
    assert values(flow, goal) == [Decimal("0.7")]
    err(flow, note)
    assert values(flow, goal) == []
    assert values(flow, goal, known_at=make.at(f"{DAY} 14:59").isoformat()) == [Decimal("0.7")]
    assert values(flow, goal, known_at=make.at(f"{DAY} 15:00").isoformat()) == []
    (row,) = flow.ana.get(f"/api/v1/goals/{goal}/measurements/", {"page_size": 1}).json()["results"]
    assert (row["document"], row["counts"]) == (note, False)
    assert Measurement.objects.filter(document_id=note).count() == 1
    assert flow.ana.get(f"/api/v1/participations/{part}/").json()["notes"] == []


def test_progress_hears_of_it(flow, goal, note):
    """A message goes out that makes the goals of the document be computed again."""
    flow.deliver()
    assert flow.progress(goal)["visits"][-1]["day"] == DAY
    err(flow, note)
    assert OutboxMessage.objects.filter(topic="document.entered_in_error", refs__document_id=note).count() == 1
    flow.deliver()
    assert flow.progress(goal)["visits"][-1]["day"] == "2026-02-24"


def test_a_waiting_one_leaves_the_queue(flow, goal, part):
    """Nobody is asked to co-sign it, and nobody can."""
    note = flow.put_note(part, successes=7, goal=goal, at=f"{DAY} 10:00")
    digest = flow.sign(note, at=f"{DAY} 10:05").json()["current"]["digest"]
    assert len(flow.get("cosign-queue/", at=f"{DAY} 12:00", api=flow.ruth).json()["results"]) == 1
    assert flow.caseload()["cosignatures_waiting"] == 1
    err(flow, note)
    assert flow.get("cosign-queue/", at=f"{DAY} 16:00", api=flow.ruth).json()["results"] == []
    assert flow.caseload()["cosignatures_waiting"] == 0
    late = flow.cosign(note, digest=digest, at=f"{DAY} 16:00")
    assert (late.status_code, late.json()["code"]) == (409, "not_signed")


def test_its_author_owes_the_visit_a_note_again(flow, goal, note, part):
    """The day says so; she reaches the child for it; the new note follows the one in error, and only once."""
    assert owed(flow) == []
    err(flow, note)
    assert owed(flow) == [(part, "missing")]
    assert part_of_day(flow, part)["note"] is None
    again = flow.put_note(part, successes=6, goal=goal, at="2026-04-01 08:10")
    assert part_of_day(flow, part)["note"] == again
    assert values(flow, goal) == []
    assert flow.sign(again, at="2026-04-01 08:20").status_code == 200
    assert values(flow, goal) == [Decimal("0.6")]
    assert owed(flow) == []
    second = flow.ana.put(f"/api/v1/notes/{make.new_id()}/", {"participation": part}, format="json")
    assert (second.status_code, second.json()["code"], second.json()["existing_id"]) == (409, "note_exists", again)
    err(flow, again, at="2026-04-01 09:00")
    assert flow.put(part, [], at="2026-04-01 09:10")


def owed(flow):
    day = flow.get("day/", at="2026-04-01 08:00").json()
    return [(row["participation"], row["state"]) for row in day["unsigned"]]


def part_of_day(flow, part):
    day = flow.get("day/", at="2026-04-01 08:00", date=DAY).json()
    children = [child for visit in day["visits"] for child in visit["children"]]
    return next(child for child in children if child["participation"] == part)


def test_its_addenda_go_with_it(flow, goal, note):
    """What was added to a note in error stands no more than the note, and none is signed after it."""
    waiting = make.new_id()
    body = {"amends": note, "text": "The second trial was with the left hand."}
    with time_machine.travel(make.at(f"{DAY} 12:00"), tick=False):
        flow.ana.put(f"/api/v1/addenda/{waiting}/", body, format="json")
    addendum = amend(
        flow, note, successes=9, goal=goal, replaces=Measurement.objects.get(document_id=note), at=f"{DAY} 12:05"
    )
    assert values(flow, goal) == [Decimal("0.9")]
    err(flow, note)
    assert values(flow, goal) == []
    states = {row["id"]: row["state"] for row in flow.ana.get("/api/v1/addenda/").json()["results"]}
    assert states == dict.fromkeys([addendum, waiting], "entered-in-error")
    with time_machine.travel(make.at(f"{DAY} 16:00"), tick=False):
        late = flow.ana.put(f"/api/v1/addenda/{make.new_id()}/", body, format="json")
    assert (late.status_code, late.json()["code"]) == (409, "not_final")


def test_an_addendum_in_error_lets_the_first_number_count_again(flow, goal, note):
    """The note itself stands, and may be corrected once more."""
    wrong = Measurement.objects.get(document_id=note)
    addendum = amend(flow, note, successes=9, goal=goal, replaces=wrong, at=f"{DAY} 12:05")
    assert err(flow, addendum, resource="addenda").status_code == 200
    assert values(flow, goal) == [Decimal("0.7")]
    assert flow.read(note)["state"] == "cosigned"
    amend(flow, note, successes=8, goal=goal, replaces=wrong, at="2026-04-01 08:00")
    assert values(flow, goal) == [Decimal("0.8")]


def test_author_and_signers_are_told_and_who_said_it_is_not(flow, note):
    """Ana, who wrote it, has a notice; Ruth, who co-signed it and now said so, has none."""
    err(flow, note)
    assert list(Notice.objects.values_list("recipient_id", "kind", "subject_kind", "subject_id")) == [
        (flow.assistant.pk, "entered_in_error", "note", EnteredInError.objects.get().document_id)
    ]


def test_an_assistant_does_not_say_it_of_what_was_signed(flow, note):
    """Her own draft she may take back; what she signed, a therapist."""
    refused = err(flow, note, api=flow.ana)
    assert (refused.status_code, refused.json()["code"]) == (403, "needs_therapist")
    assert EnteredInError.objects.count() == 0
    draft = flow.put(flow.visit(DAY, start="13:00"), [], at=f"{DAY} 14:00")
    assert err(flow, draft, api=flow.ana).status_code == 200
    assert flow.read(draft)["draft"]["objective"] == "Seated at the table."
    version = flow.read(draft)["version"]
    unsigned = flow.act(flow.ana, draft, "sign", {}, at=f"{DAY} 16:00", HTTP_IF_MATCH=f'"{version}"')
    assert (unsigned.status_code, unsigned.json()["code"]) == (409, "entered_in_error")


@pytest.mark.parametrize(
    ("over", "status", "code"),
    [
        pytest.param({"pin": "000000"}, 403, "wrong_pin", id="another PIN"),
        pytest.param({"reason": ""}, 400, None, id="no reason"),
        pytest.param({"reason": "   "}, 400, None, id="a reason of spaces"),
        pytest.param({"match": 1}, 412, "precondition_failed", id="an older version"),
    ],
)
def test_what_is_refused(flow, note, over, status, code):
    """Nothing is written, and the note stands."""
    answer = err(flow, note, **over)
    assert answer.status_code == status
    assert code in (None, answer.json()["code"])
    assert (EnteredInError.objects.count(), flow.read(note)["state"]) == (0, "cosigned")


def test_it_is_said_once(flow, note):
    """A second time answers 409, and the first reason stays."""
    err(flow, note)
    again = err(flow, note, at=f"{DAY} 16:00", reason="Another reason")
    assert (again.status_code, again.json()["code"]) == (409, "already_in_error")
    assert EnteredInError.objects.get().reason == REASON
