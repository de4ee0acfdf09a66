"""What is planned for a visit: named when it is booked or later, shown, dropped, and fixed once the visit is over."""

import pytest

from scheduling.models import PlannedGoal
from tests import factories as make
from tests.scheduling.flow import Flow

pytestmark = pytest.mark.django_db

BEFORE, DAY, AT = "2026-03-09 12:00", "2026-03-10", "2026-03-10 09:00"


@pytest.fixture
def flow():
    return Flow()


def children(flow, *goals) -> list[dict]:
    return [{"episode": str(flow.episode.pk), "goals": [str(goal) for goal in goals]}]


def booked(flow, *goals, at: str = BEFORE):
    """The answer to a visit booked with these goals planned."""
    return flow.book(AT, at=at, children=children(flow, *goals))


def planned(flow, part: str) -> list[str]:
    return flow.get(f"participations/{part}/", at=AT).json()["planned_goals"]


def test_goals_are_planned_when_the_visit_is_booked(flow):
    """They are shown with the visit and with the day."""
    first, second = flow.goal(), flow.goal()
    answer = booked(flow, second.pk, first.pk)
    assert answer.status_code == 201, answer.content
    (child,) = answer.json()["children"]
    assert child["planned_goals"] == [str(first.pk), str(second.pk)]
    (visit,) = flow.get("day/", at=AT, date=DAY).json()["visits"]
    assert set(visit["children"][0]["planned_goals"]) == {str(first.pk), str(second.pk)}


def test_what_is_planned_is_changed_and_kept(flow):
    """All goals are named anew: one stays, one is dropped, one comes. What was planned before is still there."""
    first, second, third = flow.goal(), flow.goal(), flow.goal()
    (child,) = booked(flow, first.pk, second.pk).json()["children"]
    answer = flow.step(child["id"], "plan", at=BEFORE, goals=[str(second.pk), str(third.pk)])
    assert answer.status_code == 200, answer.content
    assert answer.json()["planned_goals"] == [str(second.pk), str(third.pk)]
    assert answer.json()["version"] > child["version"]
    rows = PlannedGoal.objects.order_by("planned_at", "goal__number").values_list("goal_id", "dropped_at")
    assert [(goal, dropped is None) for goal, dropped in rows] == [
        (first.pk, False),
        (second.pk, True),
        (third.pk, True),
    ]
    again = flow.step(child["id"], "plan", at=BEFORE, goals=[str(third.pk), str(second.pk)])
    assert (again.status_code, again.json()["version"]) == (200, answer.json()["version"])


def test_a_moved_visit_keeps_its_plan_unless_told(flow):
    """A child named without goals keeps them; with goals they are replaced."""
    first, second = flow.goal(), flow.goal()
    visit = booked(flow, first.pk).json()
    moved = flow.book("2026-03-10 11:00", at=BEFORE, visit=visit["id"], match=visit["version"])
    assert moved.json()["children"][0]["planned_goals"] == [str(first.pk)]
    again = flow.book(
        "2026-03-10 11:00",
        at=BEFORE,
        visit=visit["id"],
        match=moved.json()["version"],
        children=children(flow, second.pk),
    )
    assert again.json()["children"][0]["planned_goals"] == [str(second.pk)]


def test_once_it_is_over_the_plan_stays(flow):
    """Otherwise what was not done could be made to look as if it had not been planned."""
    goal = flow.goal()
    visit = booked(flow, goal.pk).json()
    part = visit["children"][0]["id"]
    flow.step(part, "check-in", at=AT)
    assert flow.step(part, "plan", at=AT, goals=[str(goal.pk)]).status_code == 200
    flow.step(part, "finish", at="2026-03-10 09:45")
    refused = flow.step(part, "plan", at="2026-03-10 09:50", goals=[])
    assert (refused.status_code, refused.json()["code"]) == (409, "visit_over")
    version = flow.get(f"visits/{visit['id']}/", at="2026-03-10 10:00").json()["version"]
    put = flow.book(AT, at="2026-03-10 10:00", visit=visit["id"], match=version, children=children(flow))
    assert (put.status_code, put.json()["code"]) == (409, "visit_over")
    same = flow.book(AT, at="2026-03-10 10:00", visit=visit["id"], match=version, children=children(flow, goal.pk))
    assert same.status_code == 200, same.content
    assert planned(flow, part) == [str(goal.pk)]


@pytest.mark.parametrize("lifecycle", ["proposed", "on-hold", "completed", "cancelled"])
def test_only_what_is_worked_on_is_planned(flow, lifecycle):
    """422 of a goal that is not accepted or active, and nothing is booked."""
    goal = flow.goal(lifecycle=lifecycle)
    answer = booked(flow, goal.pk)
    assert (answer.status_code, answer.json()["code"]) == (422, "goal_not_active")
    assert not PlannedGoal.objects.exists()


def test_another_childs_goal_is_not_there(flow):
    """422 with its place, as for one that does not exist, in a booking and afterwards."""
    other = flow.another_child()
    goal = flow.goal()
    (child,) = booked(flow, goal.pk).json()["children"]
    named = [str(goal.pk), make.new_id()]
    refused = flow.step(child["id"], "plan", at=BEFORE, goals=named)
    assert (refused.status_code, refused.json()["errors"][0]["pointer"]) == (422, "/goals/1")
    crossed = flow.book("2026-03-10 14:00", at=BEFORE, children=[{"episode": str(other.pk), "goals": [str(goal.pk)]}])
    assert crossed.status_code == 422
    assert crossed.json()["errors"][0] == {
        "pointer": "/children/0/goals/0",
        "code": "not_found",
        "detail": "There is no such goal of this child in your reach",
    }
    assert planned(flow, child["id"]) == [str(goal.pk)]
