"""Goals over HTTP: proposing, numbers, words, the course, criteria revised, reach and roles."""

from datetime import date
from uuid import UUID

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from clinic.enums import EpisodeStatus, Role
from clinic.models import ChangeFeed, Episode, OutboxMessage
from goals.models import Clause, Goal, GoalChange, GoalPhase
from tests import factories as make
from tests.goals.team import clause, criterion, goal_body, in_a_row, make_goal, make_team, of_last, propose

pytestmark = pytest.mark.django_db
FUTURE = "2199-01-01"


@pytest.fixture
def team():
    return make_team()


def post(staff, goal_id, act, body=None, *, version=1, **headers):
    given = {"HTTP_IF_MATCH": f'"{version}"', **headers}
    return make.signed_in(staff).post(f"/api/v1/goals/{goal_id}/{act}/", body or {}, format="json", **given)


def errors(answer):
    return [(error["pointer"], error["code"]) for error in answer.json()["errors"]]


def test_a_proposal_is_shown_as_it_was_meant(team):
    """Defaults are filled in, phases and criterion stand as they were put, and the feed and a listener hear of it."""
    answer = propose(make.signed_in(team.assistant), goal_body(team))
    assert (answer.status_code, answer["ETag"]) == (201, '"1"')
    shown = answer.json()
    assert shown["measure"] == {
        "kind": "accuracy",
        "unit": "1",
        "visit_value": "single",
        "strata": "none",
        "names": [],
        "scale": None,
        "scale_levels": [],
        "levels": [],
        "alone_at": "supervision",
        "interval_method": None,
        "per_minutes": "1",
        "standard_error": None,
        "trial_name": "trials",
        "independent_trials": True,
        "operational_definition": "",
    }
    assert (shown["number"], shown["lifecycle"], shown["allowed_actions"]) == (1, "proposed", ["accept", "cancel"])
    assert [(phase["kind"], phase["starts_on"], phase["ends_on"]) for phase in shown["phases"]] == [
        ("baseline", "2026-02-24", "2026-03-02"),
        ("intervention", "2026-03-03", None),
    ]
    assert shown["phases"][0]["criterion"] is None
    assert shown["phases"][1]["criterion"] == {
        "clauses": [
            {
                "component": "accuracy",
                "comparison": "at_least",
                "value": "0.8",
                "upper": None,
                "share": None,
                "most_assistance": None,
                "most_prompting": None,
                "side_rule": None,
                "primary": True,
            }
        ],
        "consistency": {"kind": "of_last", "k": 3, "m": 4, "n": None, "days": None},
        "minimum_data": {"trials": 10, "intervals": None, "days": None, "minutes": None},
        "generalization": {"settings": 1, "partners": 1},
    }
    assert ChangeFeed.objects.filter(record_kind="goal", record_id=shown["id"], kind="created").count() == 1
    assert OutboxMessage.objects.get().refs == {"goal_id": shown["id"]}
    change = GoalChange.objects.get()
    assert (change.kind, change.from_status, change.to_status) == ("lifecycle", "", "proposed")


def test_further_components_are_shown_as_they_were_put(team):
    """A component keeps its own unit, scale and definition."""
    given = {"kind": "ordered", "scale": "assistance", "operational_definition": "As seen from the side"}
    answer = propose(make.signed_in(team.assistant), goal_body(team, components=[given, {"kind": "duration"}]))
    ordered, duration = answer.json()["components"]
    assert (ordered["scale"], ordered["scale_levels"][0], ordered["operational_definition"]) == (
        "assistance",
        "total",
        "As seen from the side",
    )
    assert (duration["unit"], duration["scale"], duration["scale_levels"]) == ("s", None, [])


def test_numbers_count_up_in_the_episode_and_never_come_back(team):
    """A cancelled goal keeps its number; another episode counts for itself."""
    first, second = make_goal(team), make_goal(team)
    assert post(team.therapist, second, "cancel", {"reason": "Not now"}).status_code == 200
    third = make_goal(team)
    other = make.make_episode(make.make_client(team.site))
    make.put_on_team(team.assistant, other)
    elsewhere = make_goal(team, episode=str(other.pk))
    numbers = dict(Goal.objects.values_list("pk", "number"))
    assert [numbers[UUID(goal_id)] for goal_id in (first, second, third, elsewhere)] == [1, 2, 3, 1]
    assert Episode.objects.get(pk=team.episode.pk).next_goal_number == 4


def test_a_proposal_sent_twice_is_one_goal(team):
    """201, then 200 with the same ETag, one number used."""
    goal_id = make.new_id()
    api = make.signed_in(team.assistant)
    first = propose(api, goal_body(team), goal_id)
    again = propose(api, goal_body(team), goal_id)
    assert (first.status_code, again.status_code, first["ETag"] == again["ETag"]) == (201, 200, True)
    assert (Goal.objects.count(), Episode.objects.get(pk=team.episode.pk).next_goal_number) == (1, 2)


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        pytest.param({"measure": {"kind": "accuracy", "strata": "side"}}, "/measure", id="strata"),
        pytest.param({"measure": {"kind": "accuracy", "trial_name": "buttons"}}, "/measure", id="trial name"),
        pytest.param({"purpose": "maintain"}, "/purpose", id="purpose"),
        pytest.param({"components": [{"kind": "duration"}]}, "/components", id="components"),
        pytest.param({"criterion": criterion(clause("accuracy", "at_least", "0.9"))}, "/criterion", id="criterion"),
        pytest.param({"baseline_starts_on": None}, "/baseline_starts_on", id="baseline"),
        pytest.param({"intervention_starts_on": "2026-03-04"}, "/intervention_starts_on", id="intervention"),
    ],
)
def test_a_put_again_changes_words_only(team, change, pointer):
    """What was counted stays counted so: another measure or criterion is refused, another text is taken."""
    goal_id = make_goal(team)
    api, url = make.signed_in(team.assistant), f"/api/v1/goals/{goal_id}/"
    refused = api.put(url, goal_body(team, text="Anew", **change), format="json", HTTP_IF_MATCH='"1"')
    assert (refused.status_code, errors(refused)) == (422, [(pointer, "fixed")])
    assert Goal.objects.get().text == "Fastens four vest buttons"
    taken = api.put(url, goal_body(team, text="Anew", due_on="2026-07-31"), format="json", HTTP_IF_MATCH='"1"')
    assert (taken.status_code, taken["ETag"], taken.json()["text"], taken.json()["due_on"]) == (
        200,
        '"2"',
        "Anew",
        "2026-07-31",
    )


@pytest.mark.parametrize(
    ("change", "status", "pointer", "code"),
    [
        pytest.param({"text": "x" * 100_000}, 400, "/text", "too_long", id="100,000 characters"),
        pytest.param({"text": "a\u0007b"}, 400, "/text", "control_character", id="a bell"),
        pytest.param({"number": 7}, 400, "/number", "unknown_member", id="a number of one's own"),
        pytest.param(
            {"intervention_starts_on": "2026-02-30"}, 400, "/intervention_starts_on", "invalid", id="no such day"
        ),
        pytest.param({"measure": {"kind": "luck"}}, 400, "/measure/kind", "invalid_choice", id="unknown kind"),
        pytest.param(
            {"measure": {"kind": "accuracy", "x": 1}}, 400, "/measure/x", "unknown_member", id="in the measure"
        ),
        pytest.param(
            {"measure": {"kind": "ordered", "scale": "mine"}}, 400, "/measure/scale", "invalid", id="scale name"
        ),
        pytest.param({"measure": []}, 400, "/measure", "invalid", id="a list for a measure"),
        pytest.param(
            {"baseline_starts_on": "2026-03-03"}, 422, "/baseline_starts_on", "out_of_order", id="baseline late"
        ),
        pytest.param({"episode": make.new_id()}, 422, "/episode", "not_found", id="unknown episode"),
        pytest.param({"parent": make.new_id()}, 422, "/parent", "not_found", id="unknown parent"),
        pytest.param({"measure": {"kind": "ordered"}}, 422, "/measure/scale", "scale_missing", id="ordered, no scale"),
        pytest.param(
            {"measure": {"kind": "ordered", "scale": make.new_id()}},
            422,
            "/measure/scale",
            "not_found",
            id="no such scale",
        ),
        pytest.param({"measure": {"kind": "rating"}}, 422, "/measure/levels", "levels_missing", id="rating, no levels"),
        pytest.param(
            {"measure": {"kind": "score", "standard_error": "-1"}},
            422,
            "/measure/standard_error",
            "not_a_number",
            id="negative error of measurement",
        ),
        pytest.param(
            {"components": [{"kind": "duration", "unit": "weeks"}]},
            422,
            "/components/0/unit",
            "unknown_unit",
            id="unit",
        ),
        pytest.param({"components": [{"kind": "accuracy"}]}, 422, "/components/0/kind", "kind_twice", id="kind twice"),
    ],
)
def test_a_wrong_member_of_a_proposal_is_pointed_at(team, change, status, pointer, code):
    """400 for what is malformed, 422 for what a rule refuses; no goal, and no number used."""
    body = goal_body(team, **change)
    goal_id = make.new_id()
    answer = propose(make.signed_in(team.assistant), body, goal_id)
    assert answer.status_code == status, answer.content
    assert answer["Content-Type"] == "application/problem+json"
    assert (pointer, code) in errors(answer)
    assert (Goal.objects.count(), Episode.objects.get(pk=team.episode.pk).next_goal_number) == (0, 1)


@pytest.mark.parametrize(
    ("asked", "pointer", "code"),
    [
        pytest.param(
            criterion(clause("duration", "at_least", "9")), "/clauses/0/component", "unknown_component", id="part"
        ),
        pytest.param(criterion(clause("accuracy", "at_least", "80")), "/clauses/0/value", "not_a_part", id="80"),
        pytest.param(
            criterion(clause("accuracy", "at_least", "most")), "/clauses/0/value", "not_a_number", id="a word"
        ),
        pytest.param(criterion(clause("accuracy", "within", "0.5")), "/clauses/0/upper", "band", id="within, one end"),
        pytest.param(
            criterion(clause("accuracy", "at_least", "0.5", side_rule="each")),
            "/clauses/0/side_rule",
            "no_sides",
            id="sides",
        ),
        pytest.param(
            criterion(clause("accuracy", "at_least", "0.5"), consistency=of_last(5, 4)),
            "/consistency/k",
            "more_than_window",
            id="5 of the last 4",
        ),
        pytest.param(
            criterion(clause("accuracy", "at_least", "0.5"), consistency={"kind": "in_a_row", "k": 2, "m": 3}),
            "/consistency/m",
            "wrong_members",
            id="a window of a row",
        ),
        pytest.param(
            criterion(clause("accuracy", "at_least", "0.5"), clause("accuracy", "at_most", "0.9"))
            | {"clauses": [clause("accuracy", "at_least", "0.5"), clause("accuracy", "at_most", "0.9")]},
            "/clauses",
            "one_primary",
            id="no primary of two",
        ),
    ],
)
def test_a_criterion_that_the_measure_cannot_answer_is_refused(team, asked, pointer, code):
    """The engine's own refusals, each with its place in the request."""
    answer = propose(make.signed_in(team.assistant), goal_body(team, criterion=asked))
    assert (answer.status_code, errors(answer)) == (422, [(f"/criterion{pointer}", code)])
    assert Goal.objects.count() == 0


def test_a_level_named_by_a_criterion_is_one_of_the_scale(team):
    """A level of another scale is refused; one of the scale is taken."""
    measure = {"kind": "ordered", "scale": "assistance"}
    wrong = criterion(clause("ordered", "at_least", "licks"))
    answer = propose(make.signed_in(team.assistant), goal_body(team, measure=measure, criterion=wrong))
    assert errors(answer) == [("/criterion/clauses/0/value", "not_a_number")]
    right = criterion(clause("ordered", "at_least", "supervision"))
    assert propose(make.signed_in(team.assistant), goal_body(team, measure=measure, criterion=right)).status_code == 201


def test_a_short_term_goal_stands_under_a_long_term_one(team):
    """One level of goals under goals, within the episode."""
    long_term = make_goal(team)
    short_term = make_goal(team, parent=long_term)
    answer = propose(make.signed_in(team.assistant), goal_body(team, parent=short_term))
    assert (answer.status_code, errors(answer)) == (422, [("/parent", "not_long_term")])
    assert Goal.objects.get(pk=short_term).parent_id == UUID(long_term)


def test_an_ended_episode_takes_no_goal(team):
    """409, and no number used."""
    Episode.objects.filter(pk=team.episode.pk).update(status=EpisodeStatus.FINISHED.value, closed_on=date(2026, 4, 1))
    answer = propose(make.signed_in(team.assistant), goal_body(team))
    assert (answer.status_code, answer.json()["code"]) == (409, "episode_ended")
    assert Goal.objects.count() == 0


def test_a_goal_takes_its_course(team):
    """Accepted, active from its day, on hold, resumed, completed: each step a row with who, when and from when."""
    goal_id = make_goal(team)
    steps = [
        ("accept", {"on": "2025-11-03"}),
        ("activate", {"on": "2025-11-04"}),
        ("hold", {"on": "2025-11-05", "reason": "Cast on the wrist"}),
        ("resume", {"on": "2025-11-06"}),
        ("complete", {"on": "2025-11-07"}),
    ]
    statuses = []
    for version, (act, body) in enumerate(steps, start=1):
        answer = post(team.therapist, goal_id, act, body, version=version)
        assert (answer.status_code, answer["ETag"]) == (200, f'"{version + 1}"'), answer.content
        statuses.append(answer.json()["lifecycle"])
    assert statuses == ["accepted", "active", "on-hold", "active", "completed"]
    assert Goal.objects.get().starts_on == date(2025, 11, 4)
    rows = make.signed_in(team.assistant).get(f"/api/v1/goals/{goal_id}/changes/").json()["results"]
    told = [(row["from_status"], row["to_status"], row["effective_on"], row["reason"]) for row in reversed(rows)]
    assert told[1:] == [
        ("proposed", "accepted", "2025-11-03", ""),
        ("accepted", "active", "2025-11-04", ""),
        ("active", "on-hold", "2025-11-05", "Cast on the wrist"),
        ("on-hold", "active", "2025-11-06", ""),
        ("active", "completed", "2025-11-07", ""),
    ]
    assert {row["by"] for row in rows[:-1]} == {str(team.therapist.pk)}


@pytest.mark.parametrize(
    ("act", "body", "headers", "status", "code"),
    [
        pytest.param("activate", {}, {}, 409, "act_not_allowed", id="not accepted yet"),
        pytest.param("accept", {}, {"HTTP_IF_MATCH": '"9"'}, 412, "precondition_failed", id="stale"),
        pytest.param("accept", {"on": FUTURE}, {}, 422, "invalid_content", id="in the future"),
        pytest.param("accept", {"by": "me"}, {}, 400, "invalid", id="unknown member"),
        pytest.param("cancel", {}, {}, 400, "invalid", id="cancelled without a reason"),
    ],
)
def test_a_step_that_is_refused_leaves_the_goal(team, act, body, headers, status, code):
    """The goal, its version and its history stay as they were."""
    goal_id = make_goal(team)
    answer = post(team.therapist, goal_id, act, body, **headers)
    assert answer.status_code == status, answer.content
    if status != 400:
        assert answer.json()["code"] == code
    if code == "act_not_allowed":
        assert answer.json()["allowed_actions"] == ["accept", "cancel"]
    goal = Goal.objects.get()
    assert (goal.lifecycle, goal.version, GoalChange.objects.count()) == ("proposed", 1, 1)


def test_a_step_needs_the_version_it_was_decided_on(team):
    """428 without If-Match."""
    answer = make.signed_in(team.therapist).post(f"/api/v1/goals/{make_goal(team)}/accept/", {}, format="json")
    assert answer.status_code == 428
    assert Goal.objects.get().lifecycle == "proposed"


def test_a_step_does_not_take_effect_before_the_last_one(team):
    """The course keeps its order of days."""
    goal_id = make_goal(team)
    post(team.therapist, goal_id, "accept", {"on": "2025-11-03"})
    answer = post(team.therapist, goal_id, "activate", {"on": "2025-11-02"}, version=2)
    assert (answer.status_code, errors(answer)) == (422, [("/on", "out_of_order")])
    assert Goal.objects.get().lifecycle == "accepted"


@pytest.mark.parametrize("act", ["accept", "activate", "hold", "resume", "complete", "cancel", "achievement", "phases"])
def test_the_course_of_a_goal_is_the_therapists(team, act):
    """An assistant proposes; 403 for every step, and nothing changes."""
    goal_id = make_goal(team)
    assert post(team.assistant, goal_id, act, {"reason": "x"}).status_code == 403
    assert (Goal.objects.get().version, GoalChange.objects.count(), GoalPhase.objects.count()) == (1, 1, 2)


def test_the_assistant_words_a_proposal_and_the_therapist_a_goal(team):
    """Until it is accepted the proposal's words are the assistant's too; then a therapist's only."""
    goal_id = make_goal(team)
    url = f"/api/v1/goals/{goal_id}/"
    assistant, therapist = make.signed_in(team.assistant), make.signed_in(team.therapist)
    mine = assistant.patch(url, {"text": "Buttons a vest"}, format="json", HTTP_IF_MATCH='"1"')
    assert (mine.status_code, mine.json()["text"]) == (200, "Buttons a vest")
    post(team.therapist, goal_id, "accept", version=2)
    refused = assistant.patch(url, {"text": "Zips a coat"}, format="json", HTTP_IF_MATCH='"3"')
    assert (refused.status_code, refused.json()["code"]) == (403, "therapists_word")
    assert Goal.objects.get().text == "Buttons a vest"
    taken = therapist.patch(url, {"due_on": "2026-08-31"}, format="json", HTTP_IF_MATCH='"3"')
    assert (taken.status_code, taken.json()["due_on"], taken.json()["text"]) == (200, "2026-08-31", "Buttons a vest")


def test_a_patch_changes_no_measure(team):
    """What is counted is no member of a change."""
    goal_id = make_goal(team)
    answer = make.signed_in(team.therapist).patch(
        f"/api/v1/goals/{goal_id}/", {"measure": {"kind": "rate"}}, format="json", HTTP_IF_MATCH='"1"'
    )
    assert (answer.status_code, errors(answer)) == (400, [("/measure", "unknown_member")])


def test_the_achievement_is_the_therapists_word(team):
    """Stated with a day and a reason, kept as a row, shown beside the computed one."""
    goal_id = make_goal(team)
    body = {"status": "improving", "on": "2025-12-01", "reason": "Two more buttons"}
    answer = post(team.therapist, goal_id, "achievement", body)
    assert (answer.status_code, answer.json()["achievement"]) == (200, "improving")
    change = GoalChange.objects.get(kind="achievement")
    assert (change.to_status, change.effective_on, change.reason) == (
        "improving",
        date(2025, 12, 1),
        "Two more buttons",
    )
    shown = make.signed_in(team.therapist).get(f"/api/v1/goals/{goal_id}/progress/").json()
    assert (shown["stated_achievement"], shown["found"]["achievement"]) == ("improving", "in-progress")


REVISED = criterion(clause("accuracy", "at_least", "0.9"), consistency=in_a_row(2))


def test_a_revised_criterion_starts_a_phase(team):
    """The phase in course ends the day before; the former criterion stands as it was."""
    goal_id = make_goal(team)
    before = list(Clause.objects.values())
    body = {"kind": "intervention", "starts_on": "2026-04-07", "criterion": REVISED}
    answer = post(team.therapist, goal_id, "phases", body)
    assert (answer.status_code, answer["ETag"]) == (200, '"2"'), answer.content
    phases = answer.json()["phases"]
    assert [(phase["ordinal"], phase["starts_on"], phase["ends_on"]) for phase in phases] == [
        (1, "2026-02-24", "2026-03-02"),
        (2, "2026-03-03", "2026-04-06"),
        (3, "2026-04-07", None),
    ]
    assert phases[2]["criterion"]["clauses"][0]["value"] == "0.9"
    assert list(Clause.objects.filter(phase__ordinal=2).values()) == before
    assert OutboxMessage.objects.filter(topic="goal.changed").count() == 2


@pytest.mark.parametrize(
    ("change", "status", "pointer"),
    [
        pytest.param({"starts_on": "2026-03-03"}, 422, "/starts_on", id="not later"),
        pytest.param({"kind": "baseline"}, 400, "/kind", id="another baseline"),
        pytest.param(
            {"criterion": criterion(clause("rate", "at_least", "2"))},
            422,
            "/criterion/clauses/0/component",
            id="measure",
        ),
    ],
)
def test_a_revision_that_does_not_fit_is_refused(team, change, status, pointer):
    """Nothing ends and nothing starts."""
    goal_id = make_goal(team)
    body = {"kind": "intervention", "starts_on": "2026-04-07", "criterion": REVISED, **change}
    answer = post(team.therapist, goal_id, "phases", body)
    assert (answer.status_code, errors(answer)[0][0]) == (status, pointer)
    assert GoalPhase.objects.filter(ends_on__isnull=True).get().ordinal == 2


def test_a_goal_that_is_over_is_not_revised(team):
    """409 once it is cancelled."""
    goal_id = make_goal(team)
    post(team.therapist, goal_id, "cancel", {"reason": "Another goal first"})
    body = {"kind": "intervention", "starts_on": "2026-04-07", "criterion": REVISED}
    answer = post(team.therapist, goal_id, "phases", body, version=2)
    assert (answer.status_code, answer.json()["code"]) == (409, "goal_is_over")
    assert GoalPhase.objects.count() == 2


ROUTES = ["", "changes/", "progress/", "progress-history/", "measurements/"]


def test_a_goal_out_of_reach_does_not_exist(team):
    """A colleague who does not treat in the episode, and another organization, find nothing and change nothing."""
    goal_id = make_goal(team)
    elsewhere = make_team(name="Elsewhere")
    strangers = [make.make_staff(team.organization, Role.THERAPIST), elsewhere.therapist]
    for stranger in strangers:
        api = make.signed_in(stranger)
        assert [api.get(f"/api/v1/goals/{goal_id}/{route}").status_code for route in ROUTES] == [404] * len(ROUTES)
        assert api.get("/api/v1/goals/").json()["results"] == []
        assert propose(api, goal_body(team), goal_id).status_code == 404
        assert errors(propose(api, goal_body(team))) == [("/episode", "not_found")]
        assert post(stranger, goal_id, "accept").status_code == 404
    assert Goal.objects.get().version == 1


@pytest.mark.parametrize("role", [Role.ADMINISTRATOR, Role.FRONT_DESK])
def test_goals_are_no_business_of_the_office(team, role):
    """No clinical word for the office: 403 for reading and for writing."""
    goal_id = make_goal(team)
    staff = make.make_staff(team.organization, role)
    api = make.signed_in(staff)
    assert [api.get(f"/api/v1/goals/{goal_id}/{route}").status_code for route in ROUTES] == [403] * len(ROUTES)
    assert propose(api, goal_body(team)).status_code == 403


def test_goals_are_listed_by_episode_client_and_status(team):
    """Filters narrow the list; the numbers give the order; an unknown filter is refused."""
    first, second = make_goal(team), make_goal(team)
    post(team.therapist, second, "accept")
    api = make.signed_in(team.assistant)

    def listed(query):
        return [row["id"] for row in api.get(f"/api/v1/goals/{query}").json()["results"]]

    assert listed(f"?episode={team.episode.pk}") == [first, second]
    assert listed(f"?client={team.child.pk}&lifecycle=accepted") == [second]
    assert listed(f"?episode={make.new_id()}") == []
    assert api.get("/api/v1/goals/?state=active").status_code == 400


@pytest.mark.parametrize("url", ["/api/v1/goals/", "/api/v1/goals/{goal}/changes/"])
def test_a_list_of_six_costs_what_a_list_of_one_costs(team, url):
    """No query in a loop."""
    api, goal_id = make.signed_in(team.therapist), make_goal(team)

    def cost():
        with CaptureQueriesContext(connection) as asked:
            assert api.get(url.format(goal=goal_id)).status_code == 200
        return len(asked)

    api.get(url.format(goal=goal_id))
    one = cost()
    for number in range(5):
        make_goal(team)
        post(team.therapist, goal_id, "achievement", {"status": "improving"}, version=number + 1)
    assert cost() == one


@pytest.mark.parametrize(("due", "status"), [("2026-03-02", 422), ("2026-03-03", 201)])
def test_a_goal_is_not_due_before_the_work_on_it_starts(team, due, status):
    """The day on which the work starts is the first on which it may be due; a refused goal leaves nothing."""
    answer = propose(make.signed_in(team.assistant), {**goal_body(team), "due_on": due})
    assert (answer.status_code, Goal.objects.count()) == (status, 1 if status == 201 else 0)
    if status == 422:
        assert errors(answer) == [("/due_on", "out_of_order")]
