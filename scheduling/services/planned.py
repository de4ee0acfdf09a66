"""What is to be worked on in a child's part of a visit, planned before it and never after."""

from collections.abc import Collection
from datetime import datetime
from uuid import UUID

from django.db import transaction

from clinic.errors import Conflict, InvalidField, RuleForbids
from clinic.rules.access import Actor
from goals.enums import Lifecycle
from goals.models import Goal
from scheduling.enums import VisitStatus
from scheduling.models import Participation, PlannedGoal
from scheduling.selectors import planned as selectors

NOT_OVER = (VisitStatus.BOOKED.value, VisitStatus.CHECKED_IN.value)
PLANNABLE = (Lifecycle.ACCEPTED.value, Lifecycle.ACTIVE.value)


def goals_to_plan(actor: Actor, episode_id: UUID, ids: Collection[UUID], *, pointer: str) -> list[Goal]:
    """These goals of the episode, in her reach; a goal of another child is one that is not there."""
    found = selectors.goals_in_reach(actor, episode_id, ids)
    for place, goal_id in enumerate(ids):
        if goal_id not in found:
            raise InvalidField(
                f"{pointer}/{place}", "There is no such goal of this child in your reach", code="not_found"
            )
        if found[goal_id].lifecycle not in PLANNABLE:
            raise RuleForbids(
                "Only an accepted or active goal is planned for", code="goal_not_active", pointer=f"{pointer}/{place}"
            )
    return [found[goal_id] for goal_id in dict.fromkeys(ids)]


@transaction.atomic
def plan_goals(*, actor: Actor, participation: Participation, goals: Collection[Goal], now: datetime) -> bool:
    """Say what is to be worked on: what was planned and is not named is dropped. Whether that changed anything.

    The caller holds the visit's lock and moves its version on. What was planned stays once the visit is over.
    """
    if participation.status not in NOT_OVER:
        raise Conflict("What was planned stays once the visit is over", code="visit_over")
    standing = {row.goal_id: row for row in PlannedGoal.objects.standing().filter(participation=participation)}
    named = {goal.pk for goal in goals}
    dropped = [row.pk for goal_id, row in standing.items() if goal_id not in named]
    PlannedGoal.objects.filter(pk__in=dropped).update(dropped_at=now)
    new = [goal for goal in goals if goal.pk not in standing]
    PlannedGoal.objects.bulk_create(
        PlannedGoal(
            organization_id=participation.organization_id,
            participation=participation,
            goal=goal,
            episode_id=participation.episode_id,
            planned_by_id=actor.person,
            planned_at=now,
        )
        for goal in new
    )
    return bool(dropped or new)
