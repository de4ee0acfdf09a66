"""What was recorded of a visit is put right: its times, a step taken by mistake, a part that never was, an overlap."""

from decimal import Decimal

import pytest
import time_machine

from clinic.enums import Role
from clinic.models import Document
from goals.models import Measurement
from scheduling.models import Booking, Participation, ParticipationChange, Visit, VisitCorrection
from tests import factories as make
from tests.clinic.asking import faults
from tests.scheduling.flow import PIN, Flow

pytestmark = pytest.mark.django_db

DAY, RIGHT_DAY = "2026-03-31", "2026-03-30"
REASON = "Entered for Tuesday; it was on Monday."


@pytest.fixture
def flow():
    return Flow()


@pytest.fixture
def part(flow):
    """A visit on Tuesday at nine, finished."""
    part = flow.visit(DAY)
    assert flow.step(part, "finish", at=f"{DAY} 09:46", left_at=make.at(f"{DAY} 09:45").isoformat()).status_code == 200
    return part


def visit_of(part) -> Visit:
    return Participation.objects.select_related("visit").get(pk=part).visit


def correct(flow, part, start=f"{RIGHT_DAY} 09:00", end=f"{RIGHT_DAY} 09:45", *, api=None, match=None, **over):
    visit = visit_of(part)
    body = {"starts_at": make.at(start).isoformat(), "ends_at": make.at(end).isoformat(), "reason": REASON, **over}
    with time_machine.travel(make.at("2026-04-01 08:00"), tick=False):
        return (api or flow.ruth).post(
            f"/api/v1/visits/{visit.pk}/correct/",
            body,
            format="json",
            HTTP_IF_MATCH=f'"{match or visit.version}"',
            HTTP_IDEMPOTENCY_KEY=make.new_id(),
        )


# --- Another day ---


def test_a_visit_counts_on_its_right_day(flow, part):
    """The visit, the child's part, what it holds and a draft go there; what it was stays to be read."""
    draft = flow.put(part, [], at=f"{DAY} 10:00")
    answer = correct(flow, part, api=flow.ana)
    assert answer.status_code == 200, answer.content
    told = answer.json()
    (child,) = told["children"]
    assert (told["service_date"], child["service_date"], child["arrived_at"], child["minutes"]) == (
        RIGHT_DAY,
        RIGHT_DAY,
        "2026-03-30T14:00:00Z",
        45,
    )
    (kept,) = told["corrections"]
    assert (kept["was_starts_at"], kept["by"], kept["reason"]) == (
        "2026-03-31T14:00:00Z",
        str(flow.assistant.pk),
        REASON,
    )
    assert flow.read(draft)["service_date"] == RIGHT_DAY
    held = Booking.objects.filter(visit=visit_of(part), live=True)
    assert {row.during.lower for row in held} == {make.at(f"{RIGHT_DAY} 09:00")}
    assert held.count() == 2
    assert flow.sign(draft, at="2026-04-01 09:00").json()["current"]["content"]["service_date"] == RIGHT_DAY


def test_what_was_signed_for_another_day_is_signed_again(flow, part):
    """By a therapist: in error as it was, a draft with its numbers for the right day, a late entry at signing."""
    goal = flow.goal()
    note = flow.put(part, [{"goal": str(goal.pk), "successes": 7, "opportunities": 10}], at=f"{DAY} 10:00")
    flow.sign(note, at=f"{DAY} 10:05")
    refused = correct(flow, part)
    assert (refused.status_code, refused.json()["code"]) == (422, "pin_needed")
    assistant = correct(flow, part, api=flow.ana, pin=PIN)
    assert (assistant.status_code, assistant.json()["code"]) == (403, "needs_therapist")
    assert (visit_of(part).service_date.isoformat(), VisitCorrection.objects.count()) == (DAY, 0)

    assert correct(flow, part, pin=PIN).status_code == 200
    assert flow.read(note)["state"] == "entered-in-error"
    draft = Document.objects.get(state="draft")
    assert (draft.author_id, draft.service_date.isoformat()) == (flow.assistant.pk, RIGHT_DAY)
    told = flow.sign(str(draft.pk), at="2026-04-01 09:00").json()
    assert "moved_here" in [flag["check"] for flag in told["current"]["flags"]]
    counting = Measurement.objects.filter(goal=goal, document__state="signed")
    assert [(row.service_date.isoformat(), row.value) for row in counting] == [(RIGHT_DAY, Decimal("0.7"))]


def test_other_hours_of_the_same_day_leave_what_was_signed(flow, part):
    """The note says when it was thought to be; the correction stands beside it."""
    note = flow.put(part, [], at=f"{DAY} 10:00")
    flow.sign(note, at=f"{DAY} 10:05")
    assert correct(flow, part, f"{DAY} 09:05", f"{DAY} 09:50", api=flow.ana).status_code == 200
    assert flow.read(note)["state"] == "signed"
    assert Participation.objects.get(pk=part).arrived_at == make.at(f"{DAY} 09:00")


def test_a_right_time_overlaps_what_it_overlaps(flow, part):
    """Somebody was booked elsewhere then: it is recorded all the same, and named."""
    flow.visit(RIGHT_DAY, start="09:30", children=[{"episode": str(flow.another_child("Teo").pk)}])
    told = correct(flow, part, api=flow.ana).json()
    assert told["overlaps"] == [str(flow.assistant.pk)]


@pytest.mark.parametrize(
    ("start", "end", "over", "status", "code"),
    [
        pytest.param(f"{DAY} 09:00", f"{DAY} 09:45", {}, 422, "same", id="as it is"),
        pytest.param("2026-04-02 09:00", "2026-04-02 09:45", {}, 422, "in_the_future", id="to come"),
        pytest.param(f"{RIGHT_DAY} 09:00", f"{RIGHT_DAY} 09:00", {}, 422, "ends_before_start", id="no time at all"),
        pytest.param(f"{RIGHT_DAY} 06:00", f"{RIGHT_DAY} 19:00", {}, 422, "too_long", id="thirteen hours"),
        pytest.param("2020-03-31 09:00", "2020-03-31 09:45", {}, 422, "before_birth", id="before she was born"),
        pytest.param(f"{RIGHT_DAY} 09:00", f"{RIGHT_DAY} 09:45", {"match": 1}, 412, None, id="an older version"),
        pytest.param(f"{RIGHT_DAY} 09:00", f"{RIGHT_DAY} 09:45", {"reason": ""}, 400, None, id="no reason"),
    ],
)
def test_what_is_no_right_time(flow, part, start, end, over, status, code):
    """Nothing is written."""
    answer = correct(flow, part, start, end, **over)
    assert answer.status_code == status, answer.content
    assert code is None or [found for _, found in faults(answer)] == [code]
    assert VisitCorrection.objects.count() == 0


def test_a_booked_visit_is_moved_instead(flow):
    """409: nothing took place yet."""
    part = flow.book("2026-04-03 09:00", at="2026-04-01 08:00").json()["children"][0]["id"]
    answer = correct(flow, part)
    assert (answer.status_code, answer.json()["code"]) == (409, "visit_not_held")


# --- A step taken by mistake ---


def test_what_was_finished_by_mistake_is_booked_again(flow, part):
    """Its minutes are gone from every count; why stays with the step; the freed rest is held again."""
    answer = flow.step(part, "undo", at=f"{DAY} 10:00", reason="Checked in for her brother.")
    assert answer.status_code == 200, answer.content
    told = answer.json()
    assert [told[name] for name in ("status", "arrived_at", "left_at", "minutes")] == ["booked", None, None, None]
    assert visit_of(part).status == "booked"
    steps = flow.get(f"participations/{part}/changes/", at=f"{DAY} 10:00").json()["results"]
    assert [(row["from_status"], row["to_status"], row["reason"]) for row in steps] == [
        ("fulfilled", "booked", "Checked in for her brother."),
        ("booked", "fulfilled", ""),
        ("", "booked", ""),
    ]
    assert flow.caseload()["visits_held_this_week"] == 0
    assert flow.step(part, "no-show", at=f"{DAY} 10:05", cause="client").status_code == 200


def test_what_was_freed_is_held_again(flow):
    """She was said to have left after ten minutes: undone, the whole time is hers again, if nobody took it."""
    part = flow.book(f"{DAY} 09:00", at=f"{DAY} 08:00").json()["children"][0]["id"]
    flow.step(part, "check-in", at=f"{DAY} 09:00")
    flow.step(part, "finish", at=f"{DAY} 09:10")
    assert ends_of(part) == {make.at(f"{DAY} 09:10")}
    flow.step(part, "undo", at=f"{DAY} 09:11", reason="The wrong child was tapped.")
    assert ends_of(part) == {make.at(f"{DAY} 09:45")}


def ends_of(part) -> set:
    return {row.during.upper for row in Booking.objects.filter(visit=visit_of(part), live=True)}


def test_a_signed_note_says_that_it_took_place(flow, part):
    """The note is put right first; a draft stands in the way of an error only."""
    note = flow.put(part, [], at=f"{DAY} 10:00")
    blocked = flow.step(part, "enter-in-error", at=f"{DAY} 10:01", reason=REASON)
    assert (blocked.status_code, blocked.json()["code"], blocked.json()["notes"]) == (409, "has_note", [note])
    flow.sign(note, at=f"{DAY} 10:05")
    undone = flow.step(part, "undo", at=f"{DAY} 10:10", reason=REASON)
    assert (undone.status_code, undone.json()["code"]) == (409, "has_note")
    assert visit_of(part).status == "fulfilled"


# --- A part that never was ---


def test_a_part_in_error_counts_and_holds_nothing(flow, part):
    """It is still read, on no day and in no count; nobody documents it, and no step follows."""
    answer = flow.step(part, "enter-in-error", at=f"{DAY} 10:00", reason="Entered twice.")
    assert (answer.status_code, answer.json()["status"]) == (200, "entered-in-error")
    assert visit_of(part).status == "entered-in-error"
    assert not Booking.objects.filter(visit=visit_of(part), live=True).exists()
    assert flow.get("day/", at=f"{DAY} 11:00").json()["visits"] == []
    assert flow.get("day/", at=f"{DAY} 11:00").json()["unsigned"] == []
    assert flow.caseload()["visits_held_this_week"] == 0
    with time_machine.travel(make.at(f"{DAY} 11:00"), tick=False):
        note = flow.ana.put(f"/api/v1/notes/{make.new_id()}/", {"participation": part}, format="json")
    assert (note.status_code, note.json()["code"]) == (409, "visit_in_error")
    for step in ("undo", "check-in", "enter-in-error"):
        said = {} if step == "check-in" else {"reason": "x"}
        assert flow.step(part, step, at=f"{DAY} 11:00", **said).status_code == 409
    assert ParticipationChange.objects.get(to_status="entered-in-error").reason == "Entered twice."
    assert flow.visit(DAY)


# --- What overlapped all the same ---


def test_two_visits_that_overlapped_are_both_recorded(flow, part):
    """Ahead it is refused; what took place is recorded, and says who was held elsewhere."""
    other = {"children": [{"episode": str(flow.another_child("Teo").pk)}]}
    ahead = flow.book("2026-04-02 09:00", at="2026-04-01 08:00")
    assert ahead.status_code == 201
    refused = flow.book("2026-04-02 09:30", at="2026-04-01 08:00", **other)
    assert (refused.status_code, refused.json()["code"]) == (409, "booking_overlaps")
    recorded = flow.book(f"{DAY} 09:30", at=f"{DAY} 12:00", **other)
    assert recorded.status_code == 201, recorded.content
    assert recorded.json()["overlaps"] == [str(flow.assistant.pk)]
    assert recorded.json()["staff"] == [str(flow.assistant.pk)]
    row = Booking.objects.get(visit_id=recorded.json()["id"], staff=flow.assistant)
    assert (row.overlapped, row.live) == (True, False)
    assert flow.put(recorded.json()["children"][0]["id"], [], at=f"{DAY} 12:05")


def test_a_child_out_of_reach_is_not_named(flow):
    """A group overlapped for one child: whoever reaches only another is not told whose time it was."""
    teo = flow.another_child("Teo")
    ines, api = flow.person("Ines Aubry", Role.ASSISTANT)
    make.put_on_team(ines, flow.episode)
    flow.visit(DAY, start="09:00", children=[{"episode": str(teo.pk)}])
    others = [str(flow.episode.pk), str(teo.pk)]
    group = flow.book(
        f"{DAY} 09:15",
        at=f"{DAY} 12:00",
        kind="group",
        staff=[str(flow.supervisor.pk)],
        children=[{"episode": one} for one in others],
    ).json()
    assert group["overlaps"] == [str(teo.client_id)]
    assert flow.get(f"visits/{group['id']}/", at=f"{DAY} 12:01", api=api).json()["overlaps"] == []


def test_what_was_called_off_and_took_place_is_reinstated(flow):
    """Its hour was given away meanwhile; it took place all the same."""
    part = flow.book(f"{DAY} 09:00", at=f"{DAY} 08:00").json()["children"][0]["id"]
    flow.step(part, "cancel", at=f"{DAY} 08:10", cause="client")
    flow.visit(DAY, start="09:00", children=[{"episode": str(flow.another_child("Teo").pk)}])
    early = flow.step(part, "reinstate", at=f"{DAY} 08:59")
    assert (early.status_code, early.json()["code"]) == (409, "booking_overlaps")
    assert flow.step(part, "reinstate", at=f"{DAY} 12:00").status_code == 200
    visit = flow.get(f"visits/{visit_of(part).pk}/", at=f"{DAY} 12:01").json()
    assert visit["overlaps"] == [str(flow.assistant.pk)]
