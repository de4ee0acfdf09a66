"""S8: a group of four, of whom one leaves ill, one does not come and one comes later from another visit."""

from datetime import date

import pytest
import time_machine

from clinic.enums import Role
from clinic.models import Document
from goals.models import Goal, Measurement
from scheduling.models import Booking, Participation, Visit
from tests import factories as make
from tests.clinic.asking import faults
from tests.scheduling.flow import Flow

pytestmark = pytest.mark.django_db

DAY = "2026-04-14"
BEFORE = "2026-04-10 09:00"
NAMES = {"a": "Alva", "b": "Bruno", "c": "Celia", "d": "Dario"}


class Group(Flow):
    """Four children whom one assistant treats; D has speech therapy until a quarter to four."""

    def __init__(self) -> None:
        super().__init__()
        self.children = {letter: self.another_child(name) for letter, name in NAMES.items()}
        speech, _ = self.person("Noor Aalto", Role.THERAPIST)
        busy = self.book(f"{DAY} 15:00", at=BEFORE, api=self.front_desk, staff=[str(speech.pk)], children=self.of("d"))
        assert busy.status_code == 201, busy.content

    @property
    def front_desk(self):
        return self.person("Lin Sato", Role.FRONT_DESK)[1]

    def of(self, letters: str, **times: str) -> list[dict]:
        """The children asked for; of whom a start is given, until the group ends."""
        return [
            {"episode": str(self.children[letter].pk), **({"starts_at": times[letter]} if letter in times else {})}
            for letter in letters
        ]

    def group(self, children: list[dict], *, at: str = BEFORE, **over):
        return self.book(f"{DAY} 15:30", at=at, kind="group", children=children, **over)

    def parts(self, answer) -> dict[str, str]:
        by_episode = {part["episode"]: part["id"] for part in answer.json()["children"]}
        return {letter: by_episode[str(e.pk)] for letter, e in self.children.items() if str(e.pk) in by_episode}

    def goal_for(self, letter: str) -> Goal:
        episode = self.children[letter]
        return Goal.objects.create(
            organization=self.organization,
            episode=episode,
            client=episode.client,
            number=1,
            text="takes turns in a board game",
            purpose="improve",
            direction="increase",
            measure="accuracy",
            lifecycle="active",
            starts_on=date(2026, 4, 1),
            proposed_by=self.supervisor,
        )

    def put_raw(self, part: str, measured: list[dict], *, at: str):
        with time_machine.travel(make.at(at), tick=False):
            body = {"participation": part, "objective": "Took turns at the table.", "measurements": measured}
            return self.ana.put(f"/api/v1/notes/{make.new_id()}/", body, format="json")


@pytest.fixture
def flow():
    return Group()


@pytest.fixture
def booked(flow):
    """The group as it is booked: D from a quarter to four."""
    answer = flow.group(flow.of("abcd", d=f"{DAY}T15:45:00-05:00"))
    assert answer.status_code == 201, answer.content
    return flow.parts(answer)


def hold(flow, parts) -> None:
    for letter, arrives in (("a", "15:30"), ("b", "15:30"), ("d", "15:45")):
        assert flow.step(parts[letter], "check-in", at=f"{DAY} {arrives}").status_code == 200
    ill = flow.step(parts["b"], "finish", at=f"{DAY} 15:50", ended_early="Ill, fetched by her father")
    missed = flow.step(parts["c"], "no-show", at=f"{DAY} 16:00", cause="client", reason="Nobody came")
    assert (ill.status_code, missed.status_code) == (200, 200)
    for letter in ("a", "d"):
        assert flow.step(parts[letter], "finish", at=f"{DAY} 16:15").status_code == 200


def test_each_child_has_her_own_minutes_status_and_note(flow, booked):
    """Minutes 45, 20, 0, 30; three fulfilled and one missed; three notes owed; the assistant is held for 45 minutes."""
    hold(flow, booked)
    parts = {letter: Participation.objects.get(pk=part) for letter, part in booked.items()}
    assert {letter: part.minutes for letter, part in parts.items()} == {"a": 45, "b": 20, "c": 0, "d": 30}
    assert {letter: part.status for letter, part in parts.items()} == {
        "a": "fulfilled",
        "b": "fulfilled",
        "c": "noshow",
        "d": "fulfilled",
    }
    visit = Visit.objects.get(pk=parts["a"].visit_id)
    assert (visit.status, visit.arrived_at, visit.finished_at) == (
        "fulfilled",
        make.at(f"{DAY} 15:30"),
        make.at(f"{DAY} 16:15"),
    )
    held = Booking.objects.get(visit=visit, staff=flow.assistant, live=True).during
    assert (held.upper - held.lower).total_seconds() == 45 * 60
    assert sum(part.minutes for part in parts.values()) == 95

    owed = flow.get("day/", at=f"{DAY} 17:00", date=DAY).json()["unsigned"]
    assert {row["participation"] for row in owed} == {booked[letter] for letter in "abd"}
    assert {row["state"] for row in owed} == {"missing"}

    note = flow.put(booked["a"], [], at=f"{DAY} 16:30")
    flow.sign(note, at=f"{DAY} 16:35")
    owed = flow.get("day/", at=f"{DAY} 17:00", date=DAY).json()["unsigned"]
    assert {row["participation"] for row in owed} == {booked[letter] for letter in "bd"}


def test_a_note_about_one_child_names_no_other(flow, booked):
    """Of B, C and D neither name nor id stands in A's note, its frozen content or its flags."""
    hold(flow, booked)
    note = flow.put(booked["a"], [], at=f"{DAY} 16:30")
    told = flow.sign(note, at=f"{DAY} 16:35").content.decode()
    frozen = bytes(Document.objects.get(pk=note).current_version.content).decode()
    for letter in "bcd":
        episode = flow.children[letter]
        for trace in (NAMES[letter], str(episode.pk), str(episode.client_id), booked[letter]):
            assert trace not in told
            assert trace not in frozen
    assert str(flow.children["a"].client_id) in frozen


def test_a_measurement_of_another_childs_goal_is_refused(flow, booked):
    """B's goal inside A's note is refused as one that does not exist; in B's own note it is taken."""
    hold(flow, booked)
    goal = flow.goal_for("b")
    measured = [{"goal": str(goal.pk), "successes": 3, "opportunities": 4}]
    refused = flow.put_raw(booked["a"], measured, at=f"{DAY} 16:30")
    assert (refused.status_code, faults(refused)) == (422, [("/measurements/0/goal", "not_found")])
    assert not Document.objects.exists()
    assert flow.put_raw(booked["b"], measured, at=f"{DAY} 16:30").status_code == 201
    assert not Measurement.objects.exists()  # nothing is written before it is signed


def test_a_child_in_two_places_is_refused_and_names_the_other_time(flow):
    """D planned from half past three collides with speech therapy until a quarter to four; from then on she is free."""
    answer = flow.group(flow.of("abcd"))
    assert (answer.status_code, answer.json()["code"]) == (409, "booking_overlaps")
    (collision,) = answer.json()["collides_with"]
    assert collision == {
        "resource": "client",
        "id": str(flow.children["d"].client_id),
        "starts_at": "2026-04-14T20:00:00Z",
        "ends_at": "2026-04-14T20:45:00Z",
    }
    assert (Visit.objects.count(), Participation.objects.count(), Booking.objects.count()) == (1, 1, 2)
    assert flow.group(flow.of("abcd", d=f"{DAY}T15:45:00-05:00")).status_code == 201


def test_a_ninth_child_is_refused(flow):
    """Eight children make the largest group that is booked; one alone makes none."""
    more = [{"episode": str(flow.another_child(f"Child {number}").pk)} for number in range(6)]
    ninth = flow.group([*flow.of("abc"), *more])
    assert (ninth.status_code, ninth.json()["code"]) == (422, "group_too_large")
    alone = flow.group(flow.of("a"))
    assert (alone.status_code, alone.json()["code"]) == (422, "group_too_small")
    assert Visit.objects.count() == 1
    assert flow.group([*flow.of("ab"), *more]).status_code == 201


def test_a_group_that_met_is_recorded_as_large_as_it_was(flow):
    """What took place is not refused for its size."""
    more = [{"episode": str(flow.another_child(f"Child {number}").pk)} for number in range(6)]
    assert flow.group([*flow.of("abc"), *more], at=f"{DAY} 17:00").status_code == 201


def test_a_group_of_one_is_flagged(flow, booked):
    """When only A came, her signed note warns that it was an individual visit; with B beside her it does not."""
    for letter in "bcd":
        flow.step(booked[letter], "no-show", at=f"{DAY} 16:10", cause="client")
    assert flow.step(booked["a"], "check-in", at=f"{DAY} 15:30").status_code == 200
    assert flow.step(booked["a"], "finish", at=f"{DAY} 16:15").status_code == 200
    note = flow.put(booked["a"], [], at=f"{DAY} 16:30")
    (flag,) = flow.sign(note, at=f"{DAY} 16:35").json()["current"]["flags"]
    assert (flag["check"], flag["severity"]) == ("group_of_one", "warning")
    assert flag["facts"] == {"advice": "record as individual"}


def test_two_children_are_no_group_of_one(flow, booked):
    """The control of the warning: one more child, and it is gone."""
    hold(flow, booked)
    note = flow.put(booked["a"], [], at=f"{DAY} 16:30")
    assert flow.sign(note, at=f"{DAY} 16:35").json()["current"]["flags"] == []
