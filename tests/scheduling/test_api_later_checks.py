"""What is found after the signing: texts almost the same, values far out. Who is told how much, and what follows."""

import pytest
import time_machine
from django.db.models import F

from clinic.enums import Role
from clinic.models import AuditEvent, CareTeam, Document, DocumentFlag, OutboxHandling
from scheduling.selectors import note_checks
from scheduling.services import later_checks
from tests import factories as make
from tests.scheduling.flow import Flow

pytestmark = pytest.mark.django_db

TEXT = (
    "Mia sat on the bench swing with her feet on the floor and fastened four large buttons, "
    "resting twice, then asked for the small ones and kept on until the song was over."
)
NEXT = TEXT.replace("four large", "three large")
OTHER = (
    "Today scissors were new to the class, so we cut along thick lines first and stopped whenever "
    "the paper tore, laughing about the shapes that came out of it in the end."
)


@pytest.fixture
def flow():
    return Flow()


def signed(flow, day: str, text: str, **over) -> str:
    note = flow.put(flow.visit(day, **over.pop("visit", {})), over.pop("measured", []), at=f"{day} 17:00", plan=text)
    flow.sign(note, at=f"{day} 17:05")
    return note


def checked(note: str, *, at: str) -> int:
    return later_checks.check_document(note, now=make.at(at))


def alike(flow, note: str, api=None) -> list[dict]:
    flags = flow.read(note, api)["current"]["flags"]
    return [flag for flag in flags if flag["check"] == "text_like_earlier_note"]


def test_a_note_like_an_earlier_one(flow):
    """The share, the day and the passages, to whoever may read both notes.

    Of 31 shingles (30 of 33 words, and one of the four words of the other section) one word more changes four.
    """
    first = signed(flow, "2026-03-03", TEXT)
    second = signed(flow, "2026-03-10", NEXT)
    assert (checked(first, at="2026-03-10 18:00"), checked(second, at="2026-03-10 18:00")) == (0, 1)
    for api in (flow.ruth, flow.ana):
        (flag,) = alike(flow, second, api)
        assert (flag["severity"], flag["refers_to"]) == ("warning", first)
        assert flag["sentence"] == "87 % of this note's own words stand in the author's note of 3 Mar 2026"
        assert (flag["facts"]["share"], flag["facts"]["earlier_on"]) == (87, "2026-03-03")
        assert [passage["text"] for passage in flag["facts"]["passages"]] == [
            "Seated at the table",
            "Mia sat on the bench swing with her feet on the floor and fastened",
            "large buttons, resting twice, then asked for the small ones and kept on until the song was over",
        ]
    assert flag["raised_at"] == "2026-03-10T23:00:00Z"


def test_the_passage_only_where_she_may_read_the_other_note(flow):
    """Of another child's note, whose team she is not on, the co-signer learns share and day, and no more."""
    other = flow.another_child()
    first = signed(flow, "2026-03-03", TEXT, visit={"children": [{"episode": str(other.pk)}]})
    second = signed(flow, "2026-03-10", NEXT)
    checked(second, at="2026-03-10 18:00")
    sol, api = flow.person("Sol Varga", Role.THERAPIST)
    make.put_on_team(sol, flow.episode)
    (flag,) = alike(flow, second, api)
    assert (flag["facts"], flag["refers_to"]) == (
        {"share": 87, "resemblance": 77, "earlier_on": "2026-03-03"},
        None,
    )
    assert "Mia" not in flag["sentence"]
    for path in (f"notes/?client={flow.child.pk}", f"notes/{second}/versions/"):
        assert "passages" not in api.get(f"/api/v1/{path}").content.decode()
    (whole,) = alike(flow, second)  # its author reads both
    assert (whole["refers_to"], len(whole["facts"]["passages"])) == (first, 3)


def test_the_trail_names_the_other_child(flow):
    """Whoever is shown a passage is shown something of the other child's record."""
    other = flow.another_child()
    signed(flow, "2026-03-03", TEXT, visit={"children": [{"episode": str(other.pk)}]})
    second = signed(flow, "2026-03-10", NEXT)
    checked(second, at="2026-03-10 18:00")
    flow.read(second)
    event = AuditEvent.objects.filter(action="notes:read").latest("at")
    assert set(event.client_ids) == {flow.child.pk, other.client_id}


@pytest.mark.parametrize(
    ("earlier", "later"),
    [
        pytest.param({"plan": TEXT}, {"plan": OTHER}, id="other-words"),
        pytest.param({"plan": "Go on as planned."}, {"plan": "Go on as planned."}, id="too-short-to-say"),
        pytest.param(
            {"plan": "", "activities": [{"name": TEXT}]},
            {"plan": "", "activities": [{"name": TEXT}]},
            id="names-of-activities",
        ),
        pytest.param(
            {"plan": f"{OTHER} Then: {TEXT[:150]}", "activities": [{"name": TEXT[:150]}]},
            {"plan": f"{TEXT[150:]} {TEXT[:150]}", "activities": [{"name": TEXT[:150]}]},
            id="an-activity-named-in-the-text",
        ),
    ],
)
def test_what_is_not_alike(flow, earlier, later):
    """Own words only, and enough of them."""
    write(flow, "2026-03-03", earlier)
    assert checked(write(flow, "2026-03-10", later), at="2026-03-10 18:00") == 0


def write(flow, day: str, written: dict) -> str:
    note = flow.put(flow.visit(day), [], at=f"{day} 17:00", **written)
    flow.sign(note, at=f"{day} 17:05")
    return note


def test_the_wording_of_a_template_is_nobodys_own(flow):
    """Two notes that begin with the organization's template are alike only in that; one retired counts as well."""
    made = flow.ruth.put(
        f"/api/v1/note-templates/{make.new_id()}/",
        {"name": "Buttons", "plan": TEXT, "retired_on": "2026-01-01"},
        format="json",
    )
    assert made.status_code == 201
    signed(flow, "2026-03-03", TEXT)
    second = signed(flow, "2026-03-10", TEXT)
    assert checked(second, at="2026-03-10 18:00") == 0


def test_a_childs_earlier_note_is_found_behind_many_others(flow, monkeypatch):
    """However many notes about other children came between: the child's own are looked at beside them."""
    monkeypatch.setattr(note_checks, "MOST_OF_ALL", 1)
    other = flow.another_child()
    first = signed(flow, "2026-03-03", TEXT)
    for day in ("2026-03-05", "2026-03-06"):
        signed(flow, day, OTHER, visit={"children": [{"episode": str(other.pk)}]})
    third = signed(flow, "2026-03-10", NEXT)
    assert checked(third, at="2026-03-10 18:00") == 1
    (flag,) = alike(flow, third)
    assert flag["refers_to"] == first


def test_the_later_of_two_that_hold_as_much_is_named(flow):
    """One flag, which speaks of the note that was nearest."""
    signed(flow, "2026-03-03", TEXT)
    second = signed(flow, "2026-03-05", TEXT)
    third = signed(flow, "2026-03-10", NEXT)
    assert checked(third, at="2026-03-10 18:00") == 1
    (flag,) = alike(flow, third)
    assert flag["refers_to"] == second


def test_another_authors_note_is_another_matter(flow):
    """Only the author's own earlier notes are looked at, and only those signed before."""
    ben, api = flow.person("Ben Okafor", Role.ASSISTANT)
    make.put_on_team(ben, flow.episode)
    note = flow.put(flow.visit("2026-03-03", api=api, staff=ben), [], at="2026-03-03 17:00", api=api, plan=TEXT)
    flow.sign(note, at="2026-03-03 17:05", api=api)
    first = signed(flow, "2026-03-10", NEXT)
    signed(flow, "2026-03-12", TEXT)
    assert checked(first, at="2026-03-12 18:00") == 0


def measured(flow, goal, day: str, successes: int) -> str:
    return flow.signed_visit(day, successes=successes, goal=goal)


def test_a_value_far_outside_the_goals_own_spread(flow):
    """One of ten after eight and nine; told with what it rests on. The visit before it is not flagged."""
    goal = flow.goal_of_ten(baseline=[3], needed=8)
    days = [f"2026-03-{day:02}" for day in (3, 5, 10, 12, 17)]
    before = [measured(flow, goal, day, n) for day, n in zip(days, (9, 8, 9, 9, 8), strict=True)]
    last = measured(flow, goal, "2026-03-19", 1)
    assert [checked(note, at="2026-03-19 18:00") for note in (before[-1], last)] == [0, 1]
    (flag,) = flow.read(last, flow.ruth)["current"]["flags"]
    assert (flag["check"], flag["severity"], flag["subject"]) == ("value_outside_spread", "notice", str(goal))
    assert flag["sentence"].startswith("goal 1: 10 % of trials is far from this goal's other visits: the middle of 6")
    assert (flag["facts"]["value"], flag["facts"]["middle"], flag["facts"]["modified_z"]) == ("0.1", "0.85", "-5.05875")


def test_a_correction_is_held_against_the_goal_too(flow):
    """An addendum that makes a number far out is flagged, as the note would have been."""
    goal = flow.goal_of_ten(baseline=[3], needed=8)
    days = [f"2026-03-{day:02}" for day in (3, 5, 10, 12, 17, 19)]
    note = [measured(flow, goal, day, n) for day, n in zip(days, (9, 8, 9, 9, 8, 9), strict=True)][-1]
    flow.cosign(note, digest=flow.read(note)["current"]["digest"], at="2026-03-20 09:00")
    replaced = flow.ana.get(f"/api/v1/goals/{goal}/measurements/").json()["results"]
    row = next(one for one in replaced if one["document"] == note)["id"]
    addendum = make.new_id()
    body = {
        "amends": note,
        "text": "It was one.",
        "measurements": [{"goal": str(goal), "successes": 1, "opportunities": 10, "replaces": row}],
    }
    with time_machine.travel(make.at("2026-03-20 10:00"), tick=False):
        assert flow.ana.put(f"/api/v1/addenda/{addendum}/", body, format="json").status_code == 201
        signed_ = flow.ana.post(
            f"/api/v1/addenda/{addendum}/sign/",
            {"pin": "580213"},
            format="json",
            HTTP_IF_MATCH='"1"',
            HTTP_IDEMPOTENCY_KEY=make.new_id(),
        )
    assert signed_.status_code == 200, signed_.content
    assert (checked(note, at="2026-03-20 11:00"), checked(addendum, at="2026-03-20 11:00")) == (1, 1)


def test_signing_leaves_the_message_and_twice_is_once(flow):
    """The listener hears of every signed version; run again, it finds what is flagged already."""
    signed(flow, "2026-03-03", TEXT)
    second = signed(flow, "2026-03-10", NEXT)
    flow.deliver()
    assert OutboxHandling.objects.filter(handler="scheduling.check_document", done_at__isnull=True).count() == 0
    assert DocumentFlag.objects.filter(version__document=second).count() == 1
    version = Document.objects.get(pk=second).version
    assert checked(second, at="2026-04-01 10:00") == 0
    assert Document.objects.get(pk=second).version == version


def test_what_was_opened_before_is_opened_again(flow):
    """A flag that comes after she read it refuses her co-signature until she has seen it."""
    signed(flow, "2026-03-03", TEXT)
    second = signed(flow, "2026-03-10", NEXT)
    digest = flow.read(second)["current"]["digest"]
    flow.open(second, at="2026-03-10 18:00")
    checked(second, at="2026-03-10 18:05")
    refused = flow.act(flow.ruth, second, "cosign", {"digest": digest}, at="2026-03-10 18:10")
    assert (refused.status_code, refused.json()["code"]) == (409, "flagged_since_opened")
    (row,) = [
        row
        for row in flow.get("cosign-queue/", at="2026-03-10 18:10", api=flow.ruth).json()["results"]
        if row["document"] == second
    ]
    assert row["flagged_since_opened"] is True
    assert flow.cosign(second, digest=digest, at="2026-03-10 18:15").status_code == 200


def test_a_version_that_stands_no_more_is_let_be(flow):
    """It was signed again while the check ran: that version has a message of its own."""
    signed(flow, "2026-03-03", TEXT)
    second = signed(flow, "2026-03-10", NEXT)
    checked_version = later_checks.selectors.document_to_check(second)
    checked_version.current_version_id = make.new_id()
    found = later_checks._alike(later_checks.selectors.document_to_check(second))
    assert later_checks._raise(checked_version, found, make.at("2026-03-10 18:00")) == 0
    assert not DocumentFlag.objects.filter(version__document=second).exists()


def test_what_she_wrote_is_hers_for_ever(flow):
    """An author off the team still reads what her own note is like."""
    signed(flow, "2026-03-03", TEXT)
    second = signed(flow, "2026-03-10", NEXT)
    checked(second, at="2026-03-10 18:00")
    CareTeam.objects.filter(staff=flow.assistant).update(ends_on=F("starts_on"))
    (flag,) = alike(flow, second)
    assert flag["facts"]["passages"]
