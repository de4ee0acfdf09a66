"""Progress, its history, the raw numbers and the items to look at, over HTTP."""

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from clinic.enums import Role
from goals.models import GoalProgress, Measurement, ReviewItem
from goals.services import progress
from tests import factories as make
from tests.goals.team import BASELINE_DAY, VISIT_DAYS, make_goal, make_note, make_team

pytestmark = pytest.mark.django_db


def of_ten(*successes):
    return [{"successes": number, "opportunities": 10} for number in successes]


@pytest.fixture
def team():
    return make_team()


@pytest.fixture
def met(team):
    """A goal met at the fifth visit, computed a minute after its note was signed."""
    with time_machine.travel(make.at("2026-02-20 09:00")):
        goal_id = make_goal(team)
    make_note(team, goal_id, BASELINE_DAY, *of_ten(3, 3, 4))
    for day, sheet in zip(VISIT_DAYS[:4], of_ten(6, 8, 5, 8), strict=True):
        make_note(team, goal_id, day, sheet)
    note = make_note(team, goal_id, VISIT_DAYS[4], *of_ten(9), signed_at=make.at("2026-03-31 10:00"))
    progress.recompute_of_document(note.pk, now=make.at("2026-03-31 10:01"))
    return goal_id, note


def get(staff, path, **headers):
    return make.signed_in(staff).get(f"/api/v1/{path}", **headers)


def test_progress_says_what_it_rests_on(team, met):
    """Figures as strings, a sentence for each, the caution, and the instant of the computation."""
    goal_id, _ = met
    shown = get(team.therapist, f"goals/{goal_id}/progress/").json()
    found = shown["found"]
    assert (shown["goal"], shown["computed_at"]) == (goal_id, "2026-03-31T15:01:00Z")
    assert (found["level"]["value"], found["percent"]["value"], found["slope"]["value"]) == (
        "0.8",
        "100",
        "0.070833333333",
    )
    assert found["criterion"]["sentence"] == "3 of the last 4 visits meet what is asked; 3 are needed."
    assert found["sentences"][-1] == "These numbers describe what was recorded; they do not say why."
    assert [visit["successes"] for visit in found["visits"]] == [3, 3, 4, 6, 8, 5, 8, 9]
    assert found["preliminary"] is True


def test_the_caution_is_said_to_whom_it_is_shown(team, met):
    """A therapist judges; an assistant takes the facts to her supervisor. The two have ETags of their own."""
    goal_id, _ = met
    therapist, assistant = (get(staff, f"goals/{goal_id}/progress/") for staff in (team.therapist, team.assistant))
    assert "informs the therapist's judgement" in therapist.json()["caution"]
    assert "take this to your supervisor" in assistant.json()["caution"]
    assert therapist["ETag"] != assistant["ETag"]


def test_progress_already_seen_is_not_sent_again(team, met):
    """304 until the findings, the goal or its status change."""
    goal_id, note = met
    url = f"goals/{goal_id}/progress/"
    seen = get(team.therapist, url)["ETag"]
    assert get(team.therapist, url, HTTP_IF_NONE_MATCH=seen).status_code == 304
    make.return_note(note, team.therapist, at=make.at("2026-03-31 11:00"))
    progress.recompute_of_document(note.pk, now=make.at("2026-03-31 11:01"))
    assert get(team.therapist, url, HTTP_IF_NONE_MATCH=seen).status_code == 200


@pytest.mark.parametrize(
    ("query", "state", "visits"),
    [
        pytest.param("?as_of=2026-03-24", "not_met", 7, id="up to the fourth visit"),
        pytest.param("?as_of=2026-02-24", "not_enough_data", 3, id="at the baseline"),
        pytest.param("?known_at=2026-03-31T10:30:00-05:00", "met", 8, id="known before it was returned"),
        pytest.param("?known_at=2026-03-31T16:30:00Z", "not_met", 7, id="known after"),
        pytest.param("?as_of=2026-03-17&known_at=2026-03-31T15:30:00Z", "not_met", 6, id="both"),
    ],
)
def test_progress_of_a_day_and_of_an_instant(team, met, query, state, visits):
    """Up to a service date, and as it was known; both are computed at once, and written nowhere."""
    goal_id, note = met
    make.return_note(note, team.therapist, at=make.at("2026-03-31 11:00"))
    before = GoalProgress.objects.values().get()
    found = get(team.therapist, f"goals/{goal_id}/progress/{query}").json()["found"]
    assert (found["criterion"]["state"], len(found["visits"])) == (state, visits)
    assert GoalProgress.objects.values().get() == before


@pytest.mark.parametrize(
    ("query", "pointer", "code"),
    [
        pytest.param("?as_of=2026-02-30", "/as_of", "invalid", id="no such day"),
        pytest.param("?known_at=2026-03-31T10:30:00", "/known_at", "not_rfc3339", id="naive"),
        pytest.param("?at=2026-03-31", "/at", "unknown_parameter", id="unknown"),
    ],
)
def test_a_wrong_question_is_pointed_at(team, met, query, pointer, code):
    """400 with the parameter."""
    answer = get(team.therapist, f"goals/{met[0]}/progress/{query}")
    assert answer.status_code == 400
    assert [(error["pointer"], error["code"]) for error in answer.json()["errors"]] == [(pointer, code)]


def test_a_goal_without_a_number_says_so(team):
    """Nothing computed yet: not enough data, in words, never a zero."""
    with time_machine.travel(make.at("2026-04-01 09:00")):
        goal_id = make_goal(team)
        found = get(team.therapist, f"goals/{goal_id}/progress/").json()["found"]
    assert (found["criterion"]["state"], found["level"]["value"], found["slope"]["value"]) == (
        "not_enough_data",
        None,
        None,
    )
    assert found["criterion"]["missing"]["needs"] == 3
    assert found["criterion"]["missing"]["has"] == 0


def test_the_history_keeps_each_finding(team, met):
    """One row for each time that the findings rested on something new, newest first."""
    goal_id, note = met
    make.return_note(note, team.therapist, at=make.at("2026-03-31 11:00"))
    progress.recompute_of_document(note.pk, now=make.at("2026-03-31 11:01"))
    rows = get(team.therapist, f"goals/{goal_id}/progress-history/").json()["results"]
    assert [(row["number"], row["criterion"], row["satisfied"], row["computed_at"]) for row in rows] == [
        (2, "not_met", 2, "2026-03-31T16:01:00Z"),
        (1, "met", 3, "2026-03-31T15:01:00Z"),
    ]
    assert len({row["input_digest"] for row in rows}) == 2
    assert rows[1]["slope_per_week"] == "0.070833333333"


def test_what_was_returned_is_shown_and_does_not_count(team, met):
    """The numbers of a returned version stay to be seen, marked as not counting."""
    goal_id, note = met
    make.return_note(note, team.therapist, at=make.at("2026-03-31 11:00"))
    raws = [{"goal": goal_id, **of_ten(7)[0]}]
    make.sign_again(note, measurements=raws, signed_at=make.at("2026-03-31 12:00"))
    rows = get(team.assistant, f"goals/{goal_id}/measurements/?page_size=2").json()["results"]
    assert [(row["version_number"], row["successes"], row["counts"]) for row in rows] == [(2, 7, True), (1, 9, False)]


def test_what_was_corrected_is_shown_and_does_not_count(team, met):
    """The corrected number counts no more; what replaces it says what it replaces."""
    goal_id, note = met
    wrong = Measurement.objects.get(document=note)
    raws = [{"goal": goal_id, "replaces": str(wrong.pk), **of_ten(7)[0]}]
    make.make_signed_note(team.assistant, team.episode, service_date=VISIT_DAYS[4], measurements=raws, amends=note)
    rows = get(team.assistant, f"goals/{goal_id}/measurements/?page_size=2").json()["results"]
    assert [(row["successes"], row["counts"], row["replaces"]) for row in rows] == [
        (7, True, str(wrong.pk)),
        (9, False, None),
    ]


def test_a_met_goal_asks_to_be_looked_at(team, met):
    """The item is listed as open, acknowledged by the therapist once, and then no longer open."""
    goal_id, _ = met
    (item,) = get(team.therapist, "review-items/?open=true").json()["results"]
    assert (item["goal"], item["kind"], item["withdrawn_at"], item["acknowledged_at"]) == (
        goal_id,
        "goal_met",
        None,
        None,
    )
    api = make.signed_in(team.therapist)
    url = f"/api/v1/review-items/{item['id']}/acknowledge/"
    assert api.post(url, {}, format="json").json()["acknowledged_by"] == str(team.therapist.pk)
    again = api.post(url, {}, format="json")
    assert (again.status_code, again.json()["code"]) == (409, "review_item_settled")
    assert get(team.therapist, "review-items/?open=true").json()["results"] == []
    assert len(get(team.therapist, f"review-items/?open=false&episode={team.episode.pk}").json()["results"]) == 1


def test_an_item_is_the_therapists_to_settle(team, met):
    """The assistant sees it; 403 for settling it; out of reach it does not exist."""
    item = ReviewItem.objects.get()
    url = f"/api/v1/review-items/{item.pk}/acknowledge/"
    assert len(get(team.assistant, "review-items/").json()["results"]) == 1
    assert make.signed_in(team.assistant).post(url, {}, format="json").status_code == 403
    stranger = make.make_staff(team.organization, Role.THERAPIST)
    assert make.signed_in(stranger).post(url, {}, format="json").status_code == 404
    assert get(stranger, "review-items/").json()["results"] == []
    item.refresh_from_db()
    assert item.acknowledged_at is None


@pytest.mark.parametrize("route", ["goals/{goal}/measurements/", "goals/{goal}/progress-history/", "review-items/"])
def test_a_list_of_six_costs_what_a_list_of_one_costs(team, route):
    """No query in a loop."""
    goals = [make_goal(team) for _ in range(6)]
    path = route.format(goal=goals[0])

    def add(number):
        for goal_id in goals[:number]:
            make_note(team, goals[0], VISIT_DAYS[0], *of_ten(9))
            documents = [make_note(team, goal_id, day, *of_ten(9)) for day in VISIT_DAYS[1:4]]
            progress.recompute_of_document(documents[-1].pk, now=make.at("2026-04-01 09:00"))

    def cost():
        with CaptureQueriesContext(connection) as asked:
            shown = get(team.therapist, path).json()["results"]
        return len(shown), len(asked)

    add(1)
    cost()
    few, one = cost()
    add(6)
    many, six = cost()
    assert many > few >= 1
    assert six == one
