"""What people do to goals: propose, word anew, accept, activate, hold, end, judge, revise."""

from collections.abc import Mapping
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import transaction

from clinic import outbox
from clinic.enums import EpisodeStatus
from clinic.errors import Conflict, InvalidField, NotAllowed
from clinic.models import Episode
from clinic.rules.access import Action, Actor, may
from clinic.services.changes import apply_changes
from goals.enums import Achievement, Lifecycle, PhaseKind
from goals.models import Goal, GoalChange, GoalPhase
from goals.progress.definitions import Criterion
from goals.rules.lifecycle import OVER, GoalAct, allowed_acts, status_after
from goals.selectors import goals as selectors
from goals.selectors.definitions import criterion_of, spec_of
from goals.services.goal_definitions import read_definition, read_wanted_criterion, write_phase

ENDED = (EpisodeStatus.FINISHED, EpisodeStatus.CANCELLED)
DAY = timedelta(days=1)


class EpisodeEnded(Conflict):
    code = "episode_ended"
    title = "The episode has ended"


class ActNotAllowed(Conflict):
    code = "act_not_allowed"
    title = "The goal's status does not allow this act"


class GoalIsOver(Conflict):
    code = "goal_is_over"
    title = "The goal is completed or cancelled"


class TherapistsWord(NotAllowed):
    code = "therapists_word"
    title = "Once accepted, a goal is the therapist's to change"


@transaction.atomic
def propose_goal(*, actor: Actor, goal_id: UUID, digest: str, now: datetime, **wanted: Any) -> Goal:
    """A goal with its phases and its criterion, under the next number of its episode; never a number again."""
    episode = selectors.episode_to_plan(actor, wanted["episode"], Action.PROPOSE_GOALS)
    if episode is None:
        raise InvalidField("/episode", "There is no such episode in your reach", code="not_found")
    if episode.status in ENDED:
        raise EpisodeEnded
    spec, columns = read_definition(actor, wanted)
    criterion = read_wanted_criterion(spec, wanted["criterion"])
    _require_order(wanted)
    goal = Goal.objects.create(
        pk=goal_id,
        organization_id=actor.organization_id,
        episode=episode,
        client_id=episode.client_id,
        number=_next_number(episode),
        parent=_parent(episode, wanted.get("parent")),
        text=wanted["text"],
        due_on=wanted.get("due_on"),
        proposed_by_id=actor.person,
        created_digest=digest,
        **columns,
    )
    _write_phases(actor, goal, criterion, wanted, now=now)
    _record_change(actor, goal, "lifecycle", "", goal.lifecycle, on=actor.today, now=now)
    outbox.created("goal", goal, client_id=goal.client_id, episode_id=goal.episode_id)
    outbox.record("goal.changed", organization_id=goal.organization_id, now=now, goal_id=goal.pk)
    return selectors.goal_for(actor, goal.pk, Action.PROPOSE_GOALS)


def _require_order(wanted: Mapping[str, Any]) -> None:
    starts, baseline = wanted["intervention_starts_on"], wanted.get("baseline_starts_on")
    if baseline is not None and baseline >= starts:
        raise InvalidField("/baseline_starts_on", "The baseline starts before the intervention", code="out_of_order")
    if wanted.get("due_on") is not None and wanted["due_on"] < starts:
        raise InvalidField("/due_on", "A goal is due after the work on it starts", code="out_of_order")


def _next_number(episode: Episode) -> int:
    """The episode's row is locked: two proposals at once take two numbers."""
    number = episode.next_goal_number
    episode.next_goal_number = number + 1
    episode.save(update_fields=["next_goal_number"])
    return number


def _parent(episode: Episode, parent_id: UUID | None) -> Goal | None:
    if parent_id is None:
        return None
    parent = selectors.goal_of_episode(episode, parent_id)
    if parent is None:
        raise InvalidField("/parent", "The episode has no such goal", code="not_found")
    if parent.parent_id is not None:
        raise InvalidField("/parent", "A short-term goal stands under a long-term one", code="not_long_term")
    return parent


def _write_phases(actor: Actor, goal: Goal, criterion: Criterion, wanted: Mapping[str, Any], *, now: datetime) -> None:
    starts, baseline = wanted["intervention_starts_on"], wanted.get("baseline_starts_on")
    by = {"written_by_id": actor.staff_id, "written_at": now}
    if baseline is not None:
        write_phase(
            goal=goal,
            criterion=None,
            ordinal=1,
            kind=PhaseKind.BASELINE.value,
            starts_on=baseline,
            ends_on=starts - DAY,
            **by,
        )
    write_phase(
        goal=goal,
        criterion=criterion,
        ordinal=1 if baseline is None else 2,
        kind=PhaseKind.INTERVENTION.value,
        starts_on=starts,
        **by,
    )


def _record_change(
    actor: Actor, goal: Goal, kind: str, before: str, after: str, *, on: date, now: datetime, reason: str = ""
) -> None:
    GoalChange.objects.create(
        organization_id=goal.organization_id,
        goal=goal,
        kind=kind,
        from_status=before,
        to_status=after,
        effective_on=on,
        at=now,
        by_id=actor.person,
        reason=reason,
    )


def require_same_definition(*, actor: Actor, goal: Goal, wanted: Mapping[str, Any]) -> None:
    """Refuse a goal put again with another measure, episode, parent or criterion: these stay as they were."""
    spec, columns = read_definition(actor, wanted)
    phases = list(goal.phases.all())
    first = next(row for row in phases if row.consistency is not None)
    baseline = phases[0].starts_on if phases[0].kind == PhaseKind.BASELINE else None
    pairs = [
        ("episode", goal.episode_id, wanted["episode"]),
        ("parent", goal.parent_id, wanted.get("parent")),
        ("purpose", goal.purpose, columns.pop("purpose")),
        ("direction", goal.direction, columns.pop("direction")),
        ("components", goal.components, columns.pop("components")),
        ("measure", {name: getattr(goal, name) for name in columns}, columns),
        ("baseline_starts_on", baseline, wanted.get("baseline_starts_on")),
        ("intervention_starts_on", first.starts_on, wanted["intervention_starts_on"]),
        ("criterion", criterion_of(first), read_wanted_criterion(spec, wanted["criterion"])),
    ]
    for member, stands, asked in pairs:
        if stands != asked:
            raise InvalidField(f"/{member}", "This stays as it was recorded; phases revise a criterion", code="fixed")


@transaction.atomic
def reword_goal(*, actor: Actor, goal: Goal, **wanted: Any) -> Goal:
    """Change a goal's words or its due day; once it is accepted, only a therapist does."""
    if goal.lifecycle != Lifecycle.PROPOSED and not may(actor, Action.WRITE_GOALS):
        raise TherapistsWord
    apply_changes(goal, wanted)
    outbox.changed("goal", goal, client_id=goal.client_id, episode_id=goal.episode_id)
    return goal


@transaction.atomic
def act_on_goal(
    *, actor: Actor, goal: Goal, act: GoalAct, now: datetime, on: date | None = None, reason: str = ""
) -> Goal:
    """One step of a goal's lifecycle, on a day; a step that its status does not allow is refused."""
    before = Lifecycle(goal.lifecycle)
    after = status_after(before, act)
    if after is None:
        raise ActNotAllowed(status_now=before.value, allowed_actions=[each.value for each in allowed_acts(before)])
    day = _effective_day(actor, goal, "lifecycle", on)
    _record_change(actor, goal, "lifecycle", before.value, after.value, on=day, now=now, reason=reason)
    started = {"starts_on": day} if act == GoalAct.ACTIVATE else {}
    apply_changes(goal, {"lifecycle": after.value, **started})
    outbox.changed("goal", goal, client_id=goal.client_id, episode_id=goal.episode_id)
    return goal


def _effective_day(actor: Actor, goal: Goal, kind: str, on: date | None) -> date:
    day = on or actor.today
    if day > actor.today:
        raise InvalidField("/on", "The day lies in the future", code="in_the_future")
    last = selectors.last_step(goal, kind)
    if last is not None and day < last.effective_on:
        raise InvalidField("/on", f"The step before took effect on {last.effective_on}", code="out_of_order")
    return day


@transaction.atomic
def state_achievement(
    *, actor: Actor, goal: Goal, status: Achievement, now: datetime, on: date | None = None, reason: str = ""
) -> Goal:
    """The therapist's own word on how far the goal is achieved; the computed one stands beside it."""
    day = _effective_day(actor, goal, "achievement", on)
    before = goal.achievement or ""
    _record_change(actor, goal, "achievement", before, status.value, on=day, now=now, reason=reason)
    apply_changes(goal, {"achievement": status.value})
    outbox.changed("goal", goal, client_id=goal.client_id, episode_id=goal.episode_id)
    return goal


@transaction.atomic
def start_phase(
    *, actor: Actor, goal: Goal, kind: PhaseKind, starts_on: date, criterion: Mapping[str, Any], now: datetime
) -> Goal:
    """Revise the criterion: the phase in course ends the day before, a new one starts, nothing is overwritten."""
    if goal.lifecycle in OVER:
        raise GoalIsOver
    last = max(goal.phases.all(), key=lambda row: row.ordinal)
    if starts_on <= last.starts_on:
        detail = f"The phase in course started on {last.starts_on}; the next one starts later"
        raise InvalidField("/starts_on", detail, code="out_of_order")
    wanted = read_wanted_criterion(spec_of(goal), criterion)
    _end(last, starts_on - DAY)
    write_phase(
        goal=goal,
        criterion=wanted,
        ordinal=last.ordinal + 1,
        kind=kind.value,
        starts_on=starts_on,
        written_by_id=actor.staff_id,
        written_at=now,
    )
    apply_changes(goal, {})
    outbox.changed("goal", goal, client_id=goal.client_id, episode_id=goal.episode_id)
    outbox.record("goal.changed", organization_id=goal.organization_id, now=now, goal_id=goal.pk)
    return selectors.goal_for(actor, goal.pk, Action.WRITE_GOALS)


def _end(phase: GoalPhase, day: date) -> None:
    phase.ends_on = day
    phase.save(update_fields=["ends_on"])
