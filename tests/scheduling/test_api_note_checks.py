"""A note is checked while it is signed: what the flags say, to whom they come first, and that nothing is refused."""

from datetime import date

import pytest

from clinic.models import Document, DocumentFlag, Precaution
from goals.models import Clause, GoalPhase
from tests import factories as make
from tests.scheduling.flow import Flow

pytestmark = pytest.mark.django_db

DAY, BEFORE = "2026-03-10", "2026-03-09 12:00"
START, END, EVENING = f"{DAY} 09:00", f"{DAY} 09:45", f"{DAY} 17:00"


@pytest.fixture
def flow():
    return Flow()


def part_with(flow, *goals) -> str:
    """A visit booked the day before with these goals planned, and held for its 45 minutes; the part's id."""
    named = [{"episode": str(flow.episode.pk), "goals": [str(goal.pk) for goal in goals]}]
    part = flow.book(START, at=BEFORE, children=named).json()["children"][0]["id"]
    flow.step(part, "check-in", at=START)
    assert flow.step(part, "finish", at=END).status_code == 200
    return part


def flags_of(flow, part, measured=(), **written) -> dict[str, dict]:
    """The flags of a note that is signed on the evening of the visit, by check."""
    note = flow.put(part, list(measured), at=EVENING, **written)
    answer = flow.sign(note, at=EVENING).json()
    assert answer["state"] == "signed"
    return {flag["check"]: flag for flag in answer["current"]["flags"]}


def of_ten(goal, successes: int, **over) -> dict:
    return {"goal": str(goal.pk), "successes": successes, "opportunities": 10, **over}


def capped(flow, goal) -> None:
    """A criterion that asks for no more than minimal help."""
    phase = GoalPhase.objects.create(
        organization=flow.organization,
        goal=goal,
        ordinal=1,
        kind="intervention",
        starts_on=date(2026, 3, 3),
        consistency="of_last",
        needed=1,
        window=1,
        written_by=flow.supervisor,
        written_at=make.at("2026-03-01 09:00"),
    )
    Clause.objects.create(
        organization=flow.organization,
        phase=phase,
        ordinal=1,
        component="accuracy",
        comparison="at_least",
        value="8/10",
        most_assistance="minimal",
        primary=True,
    )


def precaution(flow, **over) -> Precaution:
    given = {
        "client": flow.child,
        "kind": "loading",
        "text": "No inversion until cleared",
        "refused": ["inversion"],
        "warned": ["swinging"],
        "set_by": "physician",
        "may_be_lifted_by": "physician",
        "starts_on": date(2026, 3, 1),
        **over,
    }
    return Precaution.objects.create(organization=flow.organization, recorded_by=flow.supervisor, **given)


def test_a_note_without_fault_has_no_flag(flow):
    """Planned and measured, minutes as they passed."""
    goal = flow.goal()
    assert flags_of(flow, part_with(flow, goal), [of_ten(goal, 7)], minutes=45) == {}


def test_a_planned_goal_is_measured_or_given_a_reason(flow):
    """The one that is neither is named by its number; a goal that was not planned is not missed."""
    measured, reasoned, silent = flow.goal(), flow.goal(), flow.goal()
    flow.goal()
    part = part_with(flow, measured, reasoned, silent)
    found = flags_of(flow, part, [of_ten(measured, 7), {"goal": str(reasoned.pk), "not_measured": "ill"}])
    assert set(found) == {"planned_goal_not_measured"}
    flag = found["planned_goal_not_measured"]
    assert (flag["severity"], flag["subject"]) == ("warning", str(silent.pk))
    assert flag["sentence"] == "goal 3 was planned, and was neither measured nor given a reason"


def test_minutes_that_cannot_be(flow):
    """More than passed between check-in and end."""
    flag = flags_of(flow, part_with(flow), minutes=60)["minutes_disagree"]
    assert (flag["severity"], flag["facts"]) == ("warning", {"note": 60, "check_in_to_end": 45, "visit": 45})
    assert flag["sentence"] == "the note says 60 minutes, and 45 passed from check-in to end"


@pytest.mark.parametrize(
    ("signed_at", "minutes", "found"),
    [
        pytest.param(EVENING, 60, None, id="longer-than-planned"),
        pytest.param(EVENING, 20, None, id="shorter-than-planned"),
        pytest.param(f"{DAY} 09:30", 45, 30, id="longer-than-since-check-in"),
    ],
)
def test_an_end_that_nobody_told(flow, signed_at, minutes, found):
    """Where only the check-in is known, the note's minutes may be all that passed until it is signed."""
    part = flow.book(START, at=BEFORE).json()["children"][0]["id"]
    flow.step(part, "check-in", at=START)
    note = flow.put(part, [], at=signed_at, minutes=minutes)
    flags = flow.sign(note, at=signed_at).json()["current"]["flags"]
    assert [flag["facts"]["check_in_to_end"] for flag in flags] == ([found] if found else [])


def checks(flow, note, *, at: str = EVENING, api=None):
    return flow.get(f"notes/{note}/checks/", at=at, api=api)


def test_the_author_is_told_before_she_signs(flow):
    """The same as at signing, while she can still put it right; nothing is written."""
    goal = flow.goal()
    part = part_with(flow, goal)
    note = flow.put(part, [], at=EVENING, minutes=60)
    told = checks(flow, note).json()["flags"]
    assert [flag["check"] for flag in told] == ["planned_goal_not_measured", "minutes_disagree"]
    assert not DocumentFlag.objects.exists()
    signed = flow.sign(note, at=EVENING).json()["current"]["flags"]
    shared = ("check", "severity", "subject", "facts", "sentence")
    kept = [{name: flag[name] for name in shared} for flag in signed]
    assert sorted(kept, key=lambda flag: flag["check"], reverse=True) == told
    again = checks(flow, note)
    assert (again.status_code, again.json()["code"]) == (409, "nothing_to_sign")


def test_only_the_author_is_told_of_a_draft(flow):
    """Her supervisor, who sees that there is one, sees nothing of what it says."""
    note = flow.put(part_with(flow), [], at=EVENING)
    refused = checks(flow, note, api=flow.ruth)
    assert (refused.status_code, refused.json()["code"]) == (403, "not_author")


def test_help_that_nobody_wrote_down(flow):
    """A goal whose criterion caps the help is measured without a level; with levels there is nothing to say."""
    goal = flow.goal()
    capped(flow, goal)
    flag = flags_of(flow, part_with(flow), [of_ten(goal, 7)])["assistance_missing"]
    assert (flag["severity"], flag["facts"]) == ("warning", {"goal": str(goal.pk), "number": 1})


def test_help_that_was_written_down(flow):
    """The same goal, tallied by level."""
    goal = flow.goal()
    capped(flow, goal)
    tally = {"goal": str(goal.pk), "tally": {"minimal": 7, "maximal": 3}}
    assert flags_of(flow, part_with(flow), [tally]) == {}


def test_a_precaution_crossed(flow):
    """By what the activity asks of the child, or by its name; told as recorded later where it was."""
    row = precaution(flow)
    Precaution.objects.filter(pk=row.pk).update(created_at=make.at("2026-03-01 09:00"))
    rolls = {"name": "Forward rolls", "properties": ["inversion"]}
    flag = flags_of(flow, part_with(flow), activities=[{"name": "Vest"}, rolls])["precaution_crossed"]
    assert (flag["severity"], flag["sentence"]) == (
        "warning",
        "\u201cForward rolls\u201d crosses a precaution: inversion",
    )
    assert (flag["facts"]["precaution"], flag["facts"]["activity"]) == (str(row.pk), 1)


@pytest.mark.parametrize(
    "over",
    [
        pytest.param({"starts_on": date(2026, 3, 11)}, id="it-holds-from-the-day-after"),
        pytest.param(
            {"lifted_on": date(2026, 3, 10), "lifted_by": "physician", "lifted_recorded_by": True}, id="it-was-lifted"
        ),
    ],
)
def test_a_precaution_of_another_day(flow, over):
    """What did not hold on the day of the visit was not crossed on it."""
    precaution(flow, **{name: flow.supervisor if value is True else value for name, value in over.items()})
    assert flags_of(flow, part_with(flow), activities=[{"name": "Inversion"}]) == {}


def test_another_childs_precaution_is_not_hers(flow):
    """The check asks for the child of this note alone."""
    precaution(flow, client=flow.another_child().client)
    assert flags_of(flow, part_with(flow), activities=[{"name": "Inversion"}]) == {}


def test_the_desk_shows_the_gravest_first(flow):
    """A flagged note before one without; every flag in a sentence."""
    goal = flow.goal()
    plain = flow.put(flow.visit("2026-03-09"), [], at="2026-03-09 17:00")
    flow.sign(plain, at="2026-03-09 17:00")
    flags_of(flow, part_with(flow, goal), minutes=30)
    rows = flow.get("cosign-queue/", at=EVENING, api=flow.ruth).json()["results"]
    assert [row["flags"] for row in rows] == [2, 0]
    assert [(flag["check"], flag["severity"]) for flag in rows[0]["flagged"]] == [
        ("planned_goal_not_measured", "warning"),
        ("minutes_disagree", "notice"),
    ]


def test_the_next_version_is_checked_anew(flow):
    """What was put right is not flagged again; the first version keeps its flag."""
    goal = flow.goal()
    part = part_with(flow, goal)
    note = flow.put(part, [], at=EVENING)
    flow.sign(note, at=EVENING)
    digest = flow.read(note)["current"]["digest"]
    flow.send_back(note, digest=digest, reason="Goal 1?", at="2026-03-11 08:00")
    flow.put(part, [of_ten(goal, 7)], at="2026-03-11 09:00", note=note, HTTP_IF_MATCH=f'"{flow.read(note)["version"]}"')
    assert flow.sign(note, at="2026-03-11 09:00").json()["current"]["flags"] == []
    versions = flow.ana.get(f"/api/v1/notes/{note}/versions/").json()["results"]
    assert [[flag["check"] for flag in version["flags"]] for version in versions] == [
        ["planned_goal_not_measured"],
        [],
    ]
    assert Document.objects.get(pk=note).state == "signed"
