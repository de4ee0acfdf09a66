"""Reads around what is planned for a visit."""

from collections.abc import Collection
from uuid import UUID

from django.db.models import Prefetch

from clinic.rules.access import Action, Actor
from goals.models import Goal
from scheduling.models import PlannedGoal

STANDING = Prefetch("planned", PlannedGoal.objects.standing().order_by("goal__number"))


def goals_in_reach(actor: Actor, episode_id: UUID, ids: Collection[UUID]) -> dict[UUID, Goal]:
    """Those of these goals that belong to the episode and that she may work with."""
    if not ids:
        return {}
    rows = Goal.objects.visible_to(actor, Action.PROPOSE_GOALS).filter(episode_id=episode_id, pk__in=ids)
    return {goal.pk: goal for goal in rows}


def planned_ids(participation_id: UUID) -> set[UUID]:
    """The goals that are planned for a part of a visit."""
    rows = PlannedGoal.objects.standing().filter(participation_id=participation_id)
    return set(rows.values_list("goal_id", flat=True))
