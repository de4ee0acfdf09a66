"""Goals proposed and computed at the same instant, on committed data; each guard beside the race without it."""

import threading
from collections.abc import Callable
from typing import Any

from django.db import IntegrityError, connections

from clinic.models import Episode
from clinic.selectors.actors import person
from goals.models import Goal, GoalProgressHistory, ReviewItem
from goals.selectors import goals as selectors
from goals.services import goals as services
from goals.services import progress
from tests import factories as make
from tests.goals.team import AFTER, VISIT_DAYS, goal_body, make_goal, make_note, make_team


def at_once(act: Callable[[int], Any], threads: int) -> list[Any]:
    """What each thread's act returned or raised."""
    start, ended = threading.Barrier(threads), []

    def run(number: int) -> None:
        start.wait()
        try:
            ended.append(act(number))
        except Exception as error:  # the race's outcome is what is looked at
            ended.append(error)
        finally:
            connections.close_all()

    running = [threading.Thread(target=run, args=(number,)) for number in range(threads)]
    for thread in running:
        thread.start()
    for thread in running:
        thread.join()
    return ended


def propose(team: Any) -> Goal:
    body = goal_body(team)
    wanted = {**body, "episode": team.episode.pk, "intervention_starts_on": VISIT_DAYS[0], "baseline_starts_on": None}
    actor = person(user_id=team.assistant.user_id, now=AFTER, application="session", scopes=None)
    return services.propose_goal(actor=actor, goal_id=make.new_id(), digest="", now=AFTER, **wanted)


def test_proposals_at_once_take_a_number_each(own_database):
    """The episode's counter is locked: six proposals, six numbers."""
    team = make_team()
    at_once(lambda _: propose(team), 6)
    assert sorted(Goal.objects.values_list("number", flat=True)) == [1, 2, 3, 4, 5, 6]
    assert Episode.objects.get(pk=team.episode.pk).next_goal_number == 7


def test_without_the_lock_two_proposals_take_one_number(own_database, monkeypatch):
    """The race is real: read together, both take number 1, and only the table's own key keeps one of them out."""
    team, met = make_team(), threading.Barrier(2)

    def unlocked(actor: Any, episode_id: Any, action: Any) -> Episode:
        episode = Episode.objects.get(pk=episode_id)
        met.wait()
        return episode

    monkeypatch.setattr(selectors, "episode_to_plan", unlocked)
    ended = at_once(lambda _: propose(team), 2)
    assert [type(each) for each in ended if not isinstance(each, Goal)] == [IntegrityError]
    assert list(Goal.objects.values_list("number", flat=True)) == [1]


def measured(team: Any) -> Any:
    goal_id = make_goal(team)
    sheet = {"successes": 9, "opportunities": 10}
    return [make_note(team, goal_id, day, sheet) for day in VISIT_DAYS][0]


def test_one_finding_is_written_however_many_compute_it(own_database):
    """The goal is locked before it is read: six workers, one row of history, one item to look at."""
    team = make_team()
    note = measured(team)
    ended = at_once(lambda _: progress.recompute_of_document(note.pk, now=AFTER), 6)
    assert sorted(ended) == [0, 0, 0, 0, 0, 1]
    assert (GoalProgressHistory.objects.count(), ReviewItem.objects.count()) == (1, 1)


def test_without_the_lock_two_workers_write_the_same_finding(own_database, monkeypatch):
    """The race is real: read together, both find something new, and the history says the same twice."""
    team, met = make_team(), threading.Barrier(2)
    note, computed = measured(team), progress.find

    def together(*args: Any, **options: Any) -> Any:
        met.wait(timeout=10)
        return computed(*args, **options)

    monkeypatch.setattr(progress, "find", together)
    monkeypatch.setattr(selectors, "goal_to_compute", lambda goal_id: Goal.objects.get(pk=goal_id))
    assert at_once(lambda _: progress.recompute_of_document(note.pk, now=AFTER), 2) == [1, 1]
    assert GoalProgressHistory.objects.values("input_digest").distinct().count() == 1
    assert GoalProgressHistory.objects.count() == 2
