"""Putting a note: under whose visit, with which numbers, in whose sight, and what is refused while it is written."""

import pytest
import time_machine

from clinic.enums import Role
from clinic.models import ChangeFeed, Document, OutboxMessage
from goals.models import Measurement
from scheduling.models import ParticipationNote
from tests import factories as make
from tests.clinic.asking import cost_of, faults, ids
from tests.scheduling.flow import Flow

pytestmark = pytest.mark.django_db

DAY = "2026-03-31"
TEN = f"{DAY} 10:00"


@pytest.fixture
def flow():
    return Flow()


@pytest.fixture
def part(flow):
    return flow.visit(DAY)


def written() -> tuple[int, ...]:
    models = (Document, ParticipationNote, Measurement, OutboxMessage, ChangeFeed)
    return tuple(model.objects.count() for model in models)


def put(flow, part, *, note=None, at=TEN, api=None, headers=None, **over):
    body = {"participation": part, "objective": "Seated at the table.", **over}
    with time_machine.travel(make.at(at), tick=False):
        return (api or flow.ana).put(f"/api/v1/notes/{note or make.new_id()}/", body, format="json", **(headers or {}))


def match(version: int) -> dict[str, str]:
    return {"HTTP_IF_MATCH": f'"{version}"'}


def test_a_new_note_is_a_draft_of_its_author(flow, part):
    """201 with its place; it stands by the visit's day and child, and nobody is asked to co-sign it yet."""
    note = make.new_id()
    answer = put(flow, part, note=note, plan="Go on.")
    assert (answer.status_code, answer["ETag"], answer["Location"]) == (201, '"1"', f"/api/v1/notes/{note}/")
    told = answer.json()
    assert {name: told[name] for name in ("state", "kind", "service_date", "requires_cosignature", "current")} == {
        "state": "draft",
        "kind": "visit_note",
        "service_date": DAY,
        "requires_cosignature": True,
        "current": None,
    }
    assert told["draft"] == {"participation": part, "objective": "Seated at the table.", "plan": "Go on."}
    assert (told["participation"], told["author"], told["client"]) == (
        part,
        str(flow.assistant.pk),
        str(flow.child.pk),
    )
    assert (told["cosign_owner"], told["cosign_due_at"]) == (None, None)


def test_a_replay_answers_the_same_note(flow, part):
    """The same content under the same id: 200, the ETag of now, nothing written, in any order of members."""
    note = make.new_id()
    first = put(flow, part, note=note, plan="Go on.")
    before = written()
    again = put(flow, part, note=note, plan="Go on.")
    assert (again.status_code, again["ETag"], again.json()) == (200, '"1"', first.json())
    with time_machine.travel(make.at(TEN), tick=False):
        turned = flow.ana.put(
            f"/api/v1/notes/{note}/",
            {"plan": "Go on.", "objective": "Seated at the table.", "participation": part},
            format="json",
        )
    assert turned.status_code == 200
    assert written() == before


def test_a_replay_after_a_change_does_not_undo_it(flow, part):
    """The tablet that sends its first version late is told of the later one."""
    note = make.new_id()
    put(flow, part, note=note, plan="Go on.")
    put(flow, part, note=note, plan="Rest.", headers=match(1))
    late = put(flow, part, note=note, plan="Go on.")
    assert (late.status_code, late["ETag"], late.json()["draft"]["plan"]) == (200, '"2"', "Rest.")


def test_preconditions_of_a_put(flow, part):
    """The table of DESIGN: 428, 412, 201 by what is there and what was sent."""
    note = make.new_id()
    none_yet = put(flow, part, note=note, headers=match(1))
    assert (none_yet.status_code, Document.objects.count()) == (412, 0)
    assert put(flow, part, note=note, headers={"HTTP_IF_NONE_MATCH": "*"}).status_code == 201
    assert put(flow, part, note=note, headers={"HTTP_IF_NONE_MATCH": "*"}).status_code == 412
    before = written()
    blind = put(flow, part, note=note, plan="Other")
    assert (blind.status_code, blind.json()["code"]) == (428, "precondition_required")
    stale = put(flow, part, note=note, plan="Other", headers=match(4))
    assert (stale.status_code, stale.json()["current_etag"]) == (412, '"1"')
    assert written() == before
    changed = put(flow, part, note=note, plan="Other", headers=match(1))
    assert (changed.status_code, changed["ETag"], changed.json()["draft"]["plan"]) == (200, '"2"', "Other")


def test_a_read_that_knows_the_note_already(flow, part):
    """304 with the ETag of now; another one gets the note."""
    note = flow.put(part, [], at=TEN)
    url = f"/api/v1/notes/{note}/"
    known = flow.ana.get(url, HTTP_IF_NONE_MATCH='W/"1"')
    assert (known.status_code, known["ETag"], known.content) == (304, '"1"', b"")
    assert flow.ana.get(url, HTTP_IF_NONE_MATCH='"2"').status_code == 200


def test_a_second_note_of_hers_for_one_part_is_refused(flow, part):
    """409 names the one that is there; nothing is written."""
    first = flow.put(part, [], at=TEN)
    before = written()
    answer = put(flow, part, plan="Another")
    assert (answer.status_code, answer.json()["code"], answer.json()["existing_id"]) == (409, "note_exists", first)
    assert written() == before


def test_the_id_of_anothers_note_is_not_there(flow, part):
    """A colleague out of reach who uses the same id is answered 404, whatever she sends."""
    note = flow.put(part, [], at=TEN)
    mia, mia_api = flow.person("Mia Lund", Role.ASSISTANT)
    make.make_supervision(mia, flow.supervisor)
    other = flow.another_child("Teo", mia)
    hers = flow.visit(DAY, start="11:00", api=mia_api, staff=mia, children=[{"episode": str(other.pk)}])
    before = written()
    for headers in ({}, match(1)):
        assert put(flow, hers, note=note, api=mia_api, headers=headers).status_code == 404
    assert put(flow, hers, note=note, api=mia_api, headers={"HTTP_IF_NONE_MATCH": "*"}).status_code == 404
    assert written() == before


@pytest.mark.parametrize("reachable", [True, False])
def test_a_visit_of_another_is_not_documented(flow, part, reachable):
    """On the child's team but not booked: 403; out of reach: as if there were no such part of a visit."""
    mia, mia_api = flow.person("Mia Lund", Role.ASSISTANT)
    if reachable:
        make.put_on_team(mia, flow.episode)
    before = written()
    answer = put(flow, part, api=mia_api)
    if reachable:
        assert (answer.status_code, answer.json()["code"]) == (403, "not_own_visit")
    else:
        assert (answer.status_code, faults(answer)) == (422, [("/participation", "not_found")])
    assert written() == before


@pytest.mark.parametrize(("role", "read", "listed"), [(Role.ADMINISTRATOR, 404, 200), (Role.FRONT_DESK, 403, 403)])
def test_who_does_not_treat_writes_no_note(flow, part, role, read, listed):
    """403, and no look at notes either; an administrator, who might give a reason, finds none without one."""
    _, api = flow.person("Ida Roth", role)
    note = flow.put(part, [], at=TEN)
    assert put(flow, part, api=api).status_code == 403
    assert api.get(f"/api/v1/notes/{note}/").status_code == read
    answer = api.get("/api/v1/notes/")
    assert (answer.status_code, answer.json().get("results", [])) == (listed, [])


def test_a_draft_is_visible_to_its_author_alone(flow, part):
    """Her supervisor sees that there is a note, and nothing of what it says."""
    note = flow.put(part, [], at=TEN)
    assert flow.read(note)["draft"]["objective"] == "Seated at the table."
    answer = flow.ruth.get(f"/api/v1/notes/{note}/")
    assert (answer.status_code, answer.json()["draft"]) == (200, None)
    assert b"Seated" not in answer.content
    assert b"Seated" not in flow.ruth.get("/api/v1/notes/").content


def test_only_the_author_changes_a_draft(flow, part):
    """Her supervisor, who reaches it, is refused; the draft stays."""
    note = flow.put(part, [], at=TEN)
    before = written()
    answer = put(flow, part, note=note, plan="Mine", api=flow.ruth, headers=match(1))
    assert (answer.status_code, answer.json()["code"]) == (403, "not_author")
    assert written() == before
    assert "plan" not in flow.read(note)["draft"]


def test_a_returned_note_is_revised(flow, part):
    """What was signed is its draft again; it is changed under its version, and signed as number two."""
    note = flow.put(part, [], at=TEN)
    flow.sign(note, at=f"{DAY} 10:05")
    digest = flow.read(note)["current"]["digest"]
    locked = put(flow, part, note=note, plan="More", headers=match(flow.read(note)["version"]))
    assert (locked.status_code, locked.json()["code"]) == (409, "not_editable")
    flow.send_back(note, digest=digest, reason="Which cues?", at=f"{DAY} 11:00")
    returned = flow.read(note)
    assert (returned["state"], returned["draft"]["objective"]) == ("returned", "Seated at the table.")
    assert returned["current"]["verdict"]["reason"] == "Which cues?"
    revised = put(flow, part, note=note, objective="With two cues.", headers=match(returned["version"]))
    assert (revised.status_code, revised.json()["draft"]["objective"]) == (200, "With two cues.")
    assert revised.json()["current"]["content"]["body"]["objective"] == "Seated at the table."
    second = flow.sign(note, at=f"{DAY} 12:00").json()["current"]
    assert (second["number"], second["previous_digest"]) == (2, digest)


def test_a_note_stays_with_its_part_of_the_visit(flow, part):
    """A revision cannot carry it to another day."""
    note = flow.put(part, [], at=TEN)
    other = flow.visit(DAY, start="13:00")
    answer = put(flow, other, note=note, headers=match(1))
    assert (answer.status_code, faults(answer)) == (422, [("/participation", "fixed")])
    assert flow.read(note)["participation"] == part


@pytest.mark.parametrize(
    ("over", "status", "fault"),
    [
        pytest.param({"objective": "x" * 20_001}, 400, ("/objective", "too_long"), id="20,001 characters"),
        pytest.param({"objective": 7}, 400, ("/objective", "invalid"), id="a number as text"),
        pytest.param({"objective": None}, 400, ("/objective", "null"), id="null"),
        pytest.param({"objective": "bell \u0007"}, 400, ("/objective", "control_character"), id="control character"),
        pytest.param({"mood": "good"}, 400, ("/mood", "unknown_member"), id="unknown member"),
        pytest.param({"minutes": -1}, 400, ("/minutes", "min_value"), id="negative minutes"),
        pytest.param({"minutes": 45.0}, 400, ("/minutes", "invalid"), id="minutes as a float"),
        pytest.param({"minutes": True}, 400, ("/minutes", "invalid"), id="minutes as a flag"),
        pytest.param(
            {"minutes": 30, "timed_minutes": 31}, 400, ("/timed_minutes", "more_than_total"), id="more timed than all"
        ),
        pytest.param({"measurements": "many"}, 400, ("/measurements", "not_a_list"), id="no list"),
        pytest.param({"measurements": [7]}, 400, ("/measurements/0", "not_an_object"), id="no object"),
        pytest.param({"measurements": [{}] * 201}, 400, ("/measurements", "max_length"), id="201 measurements"),
        pytest.param({"activities": [{"name": ""}]}, 400, ("/activities/0/name", "blank"), id="nameless activity"),
        pytest.param(
            {"activities": [{"name": "Swing", "speed": 3}]}, 400, ("/activities/0/speed", "unknown_member"), id="deep"
        ),
        pytest.param({"participation": "one"}, 400, ("/participation", "invalid"), id="no id"),
    ],
)
def test_what_no_note_can_say(flow, part, over, status, fault):
    """A clear refusal at its place; nothing is written."""
    before = written()
    answer = put(flow, part, **over)
    assert (answer.status_code, faults(answer)[0]) == (status, fault)
    assert written() == before


def test_a_section_of_twenty_thousand_characters(flow, part):
    """The longest there is, line breaks and all scripts as they are."""
    text = ("Шнуровка\n靴紐🙂" * 2000)[:20_000]
    answer = put(flow, part, objective=text)
    assert (answer.status_code, answer.json()["draft"]["objective"]) == (201, text)


def measured(goal, **over):
    return [{"goal": str(goal.pk), **over}]


@pytest.mark.parametrize(
    ("numbers", "fault"),
    [
        pytest.param({"successes": 11, "opportunities": 10}, "/measurements/0", id="more successes than trials"),
        pytest.param({"successes": -1, "opportunities": 10}, "/measurements/0/successes", id="negative"),
        pytest.param({"successes": 7.5, "opportunities": 10}, "/measurements/0/successes", id="a float"),
        pytest.param({"successes": 7.0, "opportunities": 10}, "/measurements/0/successes", id="a whole float"),
        pytest.param({"successes": True, "opportunities": 10}, "/measurements/0/successes", id="a flag"),
        pytest.param({"successes": 10**30, "opportunities": 10**30}, "/measurements/0/successes", id="absurd"),
        pytest.param({"successes": 7, "opportunities": 10, "mood": "x"}, "/measurements/0/mood", id="unknown member"),
        pytest.param({"successes": 7, "opportunities": 10, "slot": 0}, "/measurements/0/slot", id="slot 0"),
        pytest.param({"successes": 7, "opportunities": 10, "slot": 101}, "/measurements/0/slot", id="slot 101"),
        pytest.param(
            {"successes": 7, "opportunities": 10, "replaces": make.new_id()}, "/measurements/0/replaces", id="replaces"
        ),
        pytest.param(
            {"successes": 7, "opportunities": 10, "observed_from": "2026-03-31T09:00:00"},
            "/measurements/0/observed_from",
            id="naive time",
        ),
    ],
)
def test_impossible_measurements_are_refused(flow, part, numbers, fault):
    """422 at the member that cannot be; neither the note nor a number is written."""
    goal = flow.goal()
    before = written()
    answer = put(flow, part, measurements=measured(goal, **numbers))
    assert answer.status_code == 422, answer.content
    assert faults(answer)[0][0].startswith(fault)
    assert written() == before


@pytest.mark.parametrize(
    "numbers",
    [
        pytest.param({"value": "-1"}, id="negative seconds"),
        pytest.param({"value": 12.5}, id="float"),
        pytest.param({"value": "NaN"}, id="NaN as a string"),
        pytest.param({"value": "1e3"}, id="exponent"),
        pytest.param({"trials": [{"value": "10"}, {"value": "-3"}]}, id="a negative trial"),
        pytest.param({"trials": []}, id="no trials"),
        pytest.param({}, id="nothing at all"),
    ],
)
def test_impossible_seconds_are_refused(flow, part, numbers):
    """A duration is a decimal as a string or a whole number, not negative."""
    goal = flow.goal(measure="duration", unit="s")
    before = written()
    answer = put(flow, part, measurements=measured(goal, **numbers))
    assert answer.status_code == 422
    assert written() == before
    assert put(flow, part, measurements=measured(goal, value="12.5")).status_code == 201


def test_every_fault_is_told_at_once(flow, part):
    """Two wrong measurements, two pointers."""
    goal = flow.goal()
    wrong = [
        {"goal": str(goal.pk), "successes": 11, "opportunities": 10},
        {"goal": make.new_id(), "successes": 1, "opportunities": 2},
        {"goal": str(goal.pk), "slot": 2, "successes": 1, "opportunities": 2},
    ]
    answer = put(flow, part, measurements=wrong)
    assert answer.status_code == 422
    assert [pointer.split("/")[2] for pointer, _ in faults(answer)] == ["0", "1"]


def test_a_goal_of_another_episode_does_not_exist(flow, part):
    """Neither another child's, nor the same child's in another episode, nor another organization's."""
    elsewhere = Flow()
    school = make.make_episode(flow.child, setting="school", record_regime="education_record")
    mine = flow.goal()
    theirs = elsewhere.goal()
    flow.episode, home = school, flow.episode
    at_school = flow.goal()
    flow.episode = home
    before = written()
    for goal in (theirs, at_school):
        answer = put(flow, part, measurements=measured(goal, successes=1, opportunities=2))
        assert (answer.status_code, faults(answer)) == (422, [("/measurements/0/goal", "not_found")])
    assert written() == before
    assert put(flow, part, measurements=measured(mine, successes=1, opportunities=2)).status_code == 201


def test_the_list_of_notes(flow):
    """Latest first, by the filters asked, at the same number of queries for one row and for six."""
    notes = [flow.put(flow.visit(f"2026-03-{day:02}"), [], at=f"2026-03-{day:02} 10:00") for day in (3, 4)]
    flow.sign(notes[0], at="2026-03-03 11:00")
    assert ids(flow.ana.get("/api/v1/notes/")) == [notes[1], notes[0]]
    assert ids(flow.ana.get("/api/v1/notes/", {"state": "signed"})) == [notes[0]]
    assert ids(flow.ana.get("/api/v1/notes/", {"service_date_from": "2026-03-04"})) == [notes[1]]
    assert ids(flow.ana.get("/api/v1/notes/", {"service_date_until": "2026-03-03"})) == [notes[0]]
    assert ids(flow.ana.get("/api/v1/notes/", {"author": str(flow.supervisor.pk)})) == []
    assert ids(flow.ana.get("/api/v1/notes/", {"client": str(flow.child.pk)})) == [notes[1], notes[0]]
    two, cost_of_two = cost_of(flow.ruth, "/api/v1/notes/")
    for day in range(5, 9):
        note = flow.put(flow.visit(f"2026-03-{day:02}"), [], at=f"2026-03-{day:02} 10:00")
        flow.sign(note, at=f"2026-03-{day:02} 11:00")
    six, cost_of_six = cost_of(flow.ruth, "/api/v1/notes/")
    assert (two, six) == (2, 6)
    assert cost_of_six == cost_of_two
