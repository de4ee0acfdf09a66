"""What changed from one version of a note to the next, as whoever decides on it is shown."""

import pytest

from tests.scheduling.flow import Flow

pytestmark = pytest.mark.django_db

DAY = "2026-03-10"


@pytest.fixture
def flow():
    return Flow()


@pytest.fixture
def revised(flow):
    """A note that was returned and signed again."""
    goal = flow.goal_of_ten(baseline=[3], needed=8)
    part = flow.visit(DAY)
    note = flow.put_note(part, successes=7, goal=goal, at=f"{DAY} 17:00", plan="Go on with large buttons.")
    flow.sign(note, at=f"{DAY} 17:05")
    assert flow.open(note, at=f"{DAY} 18:00").json()["difference"] is None
    digest = flow.read(note)["current"]["digest"]
    flow.send_back(note, digest=digest, reason="Which buttons, and how many?", at=f"{DAY} 18:05")
    flow.put_note(
        part,
        successes=6,
        goal=goal,
        at=f"{DAY} 19:00",
        note=note,
        plan="Go on with small buttons.",
        minutes=45,
        HTTP_IF_MATCH=f'"{flow.read(note)["version"]}"',
    )
    flow.sign(note, at=f"{DAY} 19:05")
    return note


def test_the_next_version_shows_its_difference(flow, revised):
    """Why the one before was returned, and each member that is not as it was; texts word by word."""
    shown = flow.open(revised, at=f"{DAY} 20:00").json()
    difference = shown["difference"]
    assert (difference["from_version"], difference["returned_because"]) == (1, "Which buttons, and how many?")
    assert sorted((change["pointer"], change["before"], change["after"]) for change in difference["changes"]) == [
        ("/measurements/0/successes", 7, 6),
        ("/minutes", None, 45),
        ("/plan", "Go on with large buttons.", "Go on with small buttons."),
    ]
    pieces = next(change["pieces"] for change in difference["changes"] if change["pointer"] == "/plan")
    assert [(piece["kind"], piece["text"]) for piece in pieces] == [
        ("kept", "Go on with"),
        ("removed", " large"),
        ("added", " small"),
        ("kept", " buttons."),
    ]


def test_the_queue_says_why_it_was_returned(flow, revised):
    """Beside the version that waits now."""
    (row,) = flow.get("cosign-queue/", at=f"{DAY} 20:00", api=flow.ruth).json()["results"]
    assert (row["number"], row["returned_because"]) == (2, "Which buttons, and how many?")


def test_the_turnaround_counts_from_the_first_signature(flow, revised):
    """In local calendar days, once it is co-signed."""
    assert flow.open(revised, at=f"{DAY} 20:00").json()["turnaround_days"] is None
    digest = flow.read(revised)["current"]["digest"]
    assert flow.cosign(revised, digest=digest, at="2026-03-12 08:00").status_code == 200
    assert flow.open(revised, at="2026-03-12 08:05").json()["turnaround_days"] == 2
