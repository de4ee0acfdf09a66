"""Reads of goals and of what was found in their numbers, already scoped to who asks."""

from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import F, Q, QuerySet

from clinic.errors import NotFound
from clinic.models import Episode
from clinic.rules.access import Action, Actor
from goals.enums import Lifecycle
from goals.models import Goal, GoalChange, GoalPhase, GoalProgress, GoalProgressHistory, ReviewItem
from goals.selectors.definitions import defined

OPEN = Q(withdrawn_at__isnull=True, acknowledged_at__isnull=True)


def goals_for(actor: Actor, action: Action = Action.SEE_GOALS) -> QuerySet[Goal]:
    """Goals in her reach, with all that is shown of them already fetched."""
    return defined(Goal.objects.visible_to(actor, action))


def goal_for(actor: Actor, goal_id: UUID, action: Action = Action.SEE_GOALS, *, lock: bool = False) -> Goal:
    """One goal in reach for this action, or NotFound."""
    rows = goals_for(actor, action)
    if lock:
        rows = rows.select_for_update(of=("self",), no_key=True)
    row = rows.filter(pk=goal_id).first()
    if row is None:
        raise NotFound
    return row


def goal_exists(goal_id: UUID) -> bool:
    return Goal.objects.filter(pk=goal_id).exists()


def goal_of_episode(episode: Episode, goal_id: UUID) -> Goal | None:
    return Goal.objects.filter(organization_id=episode.organization_id, episode=episode, pk=goal_id).first()


def episode_to_plan(actor: Actor, episode_id: UUID, action: Action) -> Episode | None:
    """An episode in reach for this action, locked: its counter gives the next goal's number."""
    rows = Episode.objects.visible_to(actor, action).select_for_update(of=("self",), no_key=True)
    return rows.filter(pk=episode_id).first()


def last_step(goal: Goal, kind: str) -> GoalChange | None:
    """The step that took effect last; a proposal may be written down after the day it was made on."""
    steps = GoalChange.objects.filter(goal=goal, kind=kind).exclude(to_status=Lifecycle.PROPOSED.value)
    return steps.order_by("-effective_on", "-at").first()


def changes_of(goal: Goal) -> QuerySet[GoalChange]:
    """The steps of a goal's course."""
    return GoalChange.objects.filter(goal=goal)


def goal_to_compute(goal_id: UUID) -> Goal | None:
    """A goal, locked, with what its findings are computed from; not scoped, since nobody asks."""
    rows = Goal.objects.filter(pk=goal_id).select_for_update(of=("self",), no_key=True)
    return defined(rows).first()


def time_zone_of(goal: Goal) -> str:
    """The zone of the site of the goal's episode: its days are the episode's days."""
    return Episode.objects.values_list("site__time_zone", flat=True).get(pk=goal.episode_id)


def goals_with_a_phase_begun(now: datetime) -> list[UUID]:
    """Goals of which a phase may have begun since they were last computed: within a week, a day's margin for zones."""
    lately = GoalPhase.objects.filter(
        ordinal__gt=1,
        starts_on__range=(now.date() - timedelta(days=7), now.date() + timedelta(days=1)),
        starts_on__gte=F("goal__progress__computed_at__date"),
    )
    return sorted(set(lately.values_list("goal_id", flat=True)))


def progress_of(goal: Goal) -> GoalProgress | None:
    """The findings as they were last written down."""
    return GoalProgress.objects.filter(goal=goal).first()


def progress_history_of(goal: Goal) -> QuerySet[GoalProgressHistory]:
    return GoalProgressHistory.objects.filter(goal=goal)


def review_items_for(actor: Actor, *, open: bool | None = None, episode: UUID | None = None) -> QuerySet[ReviewItem]:
    """Items of goals in her reach, all of them or those that are (or are no longer) open."""
    rows = ReviewItem.objects.visible_to(actor, Action.SEE_GOALS).select_related("goal")
    if open is not None:
        rows = rows.filter(OPEN) if open else rows.exclude(OPEN)
    return rows if episode is None else rows.filter(episode_id=episode)


def review_item_for(actor: Actor, item_id: UUID, *, lock: bool = False) -> ReviewItem:
    """One item in reach of a therapist's acts, or NotFound."""
    rows = ReviewItem.objects.visible_to(actor, Action.WRITE_GOALS).select_related("goal")
    if lock:
        rows = rows.select_for_update(of=("self",), no_key=True)
    row = rows.filter(pk=item_id).first()
    if row is None:
        raise NotFound
    return row
