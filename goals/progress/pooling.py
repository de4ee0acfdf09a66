"""Visits or days taken together as if they were one visit."""

from collections.abc import Sequence

from goals.enums import ConsistencyKind, MeasureKind
from goals.progress.bounds import Bounds, mean, satisfies
from goals.progress.checks import Check, Standing, shortage, standing, too_few
from goals.progress.clauses import caps_kept, direction_of
from goals.progress.criteria import target_of
from goals.progress.definitions import PROPORTIONS, Clause, Criterion, GoalSpec
from goals.progress.measured import Measured
from goals.progress.results import Missing
from goals.progress.series import together
from goals.progress.summaries import group_value, visit_value


def pooled_standing(goal: GoalSpec, criterion: Criterion, checks: Sequence[Check]) -> Standing:
    """The last n visits, or the visits of the last d days up to the last one, judged as one.

    Pooled visits must each have the minimum data; pooled days must have it together.
    """
    window = _pool(criterion, checks)
    missing = _missing(goal, criterion, window)
    holds = missing is None and all(_satisfies(goal, clause, window) for clause in criterion.clauses)
    return standing(window, good=window, satisfied=int(holds), needed=1, holds=holds, missing=missing)


def _pool(criterion: Criterion, checks: Sequence[Check]) -> tuple[Check, ...]:
    consistency = criterion.consistency
    if consistency.kind == ConsistencyKind.POOLED_VISITS:
        return tuple(checks[-(consistency.n or 1) :])
    if not checks:
        return ()
    last = checks[-1].visit.day
    return tuple(check for check in checks if (last - check.visit.day).days < (consistency.days or 1))


def _missing(goal: GoalSpec, criterion: Criterion, window: Sequence[Check]) -> Missing | None:
    needed = criterion.consistency.n or 1
    if len(window) < needed:
        return too_few(needed, len(window), "visits")
    if criterion.consistency.kind == ConsistencyKind.POOLED_VISITS:
        return None
    parts = [check.visit.measured[goal.measure.kind] for check in window]
    return shortage(criterion.minimum, together(goal.measure, parts))


def _satisfies(goal: GoalSpec, clause: Clause, window: Sequence[Check]) -> bool:
    parts = [part for check in window if (part := check.visit.measured.get(clause.component)) is not None]
    if len(parts) < len(window):
        return False
    spec = parts[0].spec
    target = target_of(spec, clause.value)
    if target is None or not all(caps_kept(clause, part, part.cells) for part in parts):
        return False
    value = _pooled_value(goal, clause, parts)
    return satisfies(value, clause.comparison, target=target, upper=target_of(spec, clause.upper))


def _pooled_value(goal: GoalSpec, clause: Clause, parts: Sequence[Measured]) -> Bounds:
    """Counts and events are added up; of other values the mean of the visits stands for them all."""
    spec = parts[0].spec
    direction = direction_of(goal, clause.component)
    if spec.kind in PROPORTIONS or spec.kind == MeasureKind.RATE:
        whole = together(spec, parts)
        return group_value(spec, whole.cells, direction=direction, watched=whole.watched, clause=clause)
    return mean([visit_value(spec, part.cells, direction=direction, watched=part.watched) for part in parts])
