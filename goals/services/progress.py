"""What the numbers of a goal say, computed again from its rows whenever they may have become others."""

from datetime import date, datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Max, QuerySet

from clinic import outbox
from goals.enums import CriterionState
from goals.models import Goal, GoalProgress, GoalProgressHistory, ReviewItem
from goals.progress.decimals import written
from goals.progress.definitions import Phase
from goals.progress.digest import ENGINE, input_digest
from goals.progress.findings import find
from goals.progress.results import Figure, Findings
from goals.selectors import goals as goal_selectors
from goals.selectors import measurements as selectors
from goals.selectors.definitions import phases_of, spec_of

GOAL_MET = "goal_met"


def recompute_of_document(document_id: UUID, *, now: datetime) -> int:
    """Recompute every goal measured in a document, or in the one that it amends; how many have changed."""
    return sum(recompute(goal_id, now=now) for goal_id in selectors.goals_measured_in(document_id))


def recompute_begun(*, now: datetime) -> int:
    """Recompute goals of which a phase began since they were last computed; how many have changed."""
    return sum(recompute(goal_id, now=now) for goal_id in goal_selectors.goals_with_a_phase_begun(now))


@transaction.atomic
def recompute(goal_id: UUID, *, now: datetime) -> bool:
    """Find what a goal's numbers say and write it down if they rest on something new; twice is the same as once."""
    goal = goal_selectors.goal_to_compute(goal_id)
    if goal is None:
        return False
    spec, observations = spec_of(goal), selectors.observations_of(selectors.counting([goal.pk]))
    phases = _begun(goal, phases_of(goal), at=now)
    known = GoalProgress.objects.filter(goal=goal).first()
    if known and known.engine == ENGINE and known.input_digest == input_digest(spec, phases, observations):
        _settle_review(goal, met=known.criterion == CriterionState.MET, now=now)
        return False
    findings = find(spec, phases, observations)
    _write_down(goal, findings, now=now)
    _settle_review(goal, met=findings.criterion.state == CriterionState.MET, now=now)
    outbox.changed("goal", goal, client_id=goal.client_id, episode_id=goal.episode_id)
    return True


def find_now(goal: Goal, *, as_of: date | None = None, known_at: datetime | None = None) -> Findings:
    """What a goal's numbers say up to a service date, or said at an instant; nothing is written."""
    rows = selectors.counting([goal.pk], as_of=as_of, known_at=known_at)
    phases = phases_of(goal, known_at=known_at)
    if known_at is not None:
        phases = _begun(goal, phases, at=known_at)
    return find(spec_of(goal), phases, selectors.observations_of(rows), as_of=as_of)


def _begun(goal: Goal, phases: list[Phase], *, at: datetime) -> list[Phase]:
    """Phases begun by the day that it is where the episode is: one to come does not rule yet."""
    today = at.astimezone(ZoneInfo(goal_selectors.time_zone_of(goal))).date()
    return [phase for phase in phases if phase.starts_on <= today]


def _write_down(goal: Goal, findings: Findings, *, now: datetime) -> None:
    columns = columns_of(findings) | {"computed_at": now, "organization_id": goal.organization_id}
    GoalProgress.objects.update_or_create(goal=goal, defaults=columns)
    last = GoalProgressHistory.objects.filter(goal=goal).aggregate(last=Max("number"))["last"] or 0
    GoalProgressHistory.objects.create(goal=goal, number=last + 1, **columns)


def columns_of(findings: Findings) -> dict[str, Any]:
    """The findings as the columns that lists and dashboards read, and the whole beside them."""
    counted = [visit for visit in findings.visits if visit.value is not None]
    last = counted[-1] if counted else None
    has_criterion = bool(findings.criterion.window) or findings.criterion.missing is None
    return {
        "engine": findings.engine,
        "input_digest": findings.input_digest,
        "visits": len(findings.visits),
        "last_on": last.day if last else None,
        "last_value": (last.name or written(last.value)) if last and last.value is not None else "",
        "level": _text(findings.level),
        "baseline": _text(findings.baseline),
        "percent": findings.percent.value,
        "slope_per_week": findings.slope.value,
        "criterion": findings.criterion.state.value,
        "satisfied": findings.criterion.satisfied if has_criterion else None,
        "preliminary": findings.preliminary,
        "findings": findings.to_json(),
    }


def _text(figure: Figure) -> str:
    if figure.name is not None:
        return figure.name
    return "" if figure.value is None else written(figure.value)


def _settle_review(goal: Goal, *, met: bool, now: datetime) -> None:
    """A goal that is met asks its therapist to look at it, once; the item is withdrawn when it is met no more."""
    standing = ReviewItem.objects.filter(goal=goal, kind=GOAL_MET, withdrawn_at__isnull=True)
    if met and not standing.exists():
        item = ReviewItem.objects.create(
            organization_id=goal.organization_id, goal=goal, episode_id=goal.episode_id, kind=GOAL_MET, opened_at=now
        )
        outbox.created("review_item", item, client_id=goal.client_id, episode_id=goal.episode_id)
    elif not met:
        _withdraw(goal, standing, now=now)


def _withdraw(goal: Goal, standing: QuerySet[ReviewItem], *, now: datetime) -> None:
    for item in standing:
        item.withdrawn_at = max(now, item.opened_at)
        item.save(update_fields=["withdrawn_at"])
        outbox.changed("review_item", item, client_id=goal.client_id, episode_id=goal.episode_id)
