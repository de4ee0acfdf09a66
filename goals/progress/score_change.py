"""What kinds with a theory of their own say: a score's reliable change, a rating's T."""

from collections.abc import Sequence
from decimal import Decimal
from math import sqrt

from goals.enums import CriterionState, MeasureKind
from goals.progress.attainment import t_score
from goals.progress.bounds import Bounds
from goals.progress.decimals import rounded
from goals.progress.definitions import GoalSpec
from goals.progress.points import Point
from goals.progress.results import AttainmentScore, ReliableChange
from goals.progress.scores import CRITICAL, reliable_change_index
from goals.progress.words import figure


def change_of_score(
    goal: GoalSpec, state: CriterionState, *, baseline: Bounds | None, points: Sequence[Point]
) -> ReliableChange | None:
    """The last score against the baseline, by the score's standard error; None without one of the three."""
    sem = goal.measure.sem
    last = points[-1].value if points else None
    if goal.measure.kind != MeasureKind.SCORE or sem is None or baseline is None or last is None:
        return None
    before, after = float(baseline.low), float(last.low)
    index = reliable_change_index(before, after, sem=float(sem))
    reliable = abs(index) >= CRITICAL
    return ReliableChange(
        index=rounded(index),
        reliable=reliable,
        sentence=_change_words(state, change=after - before, error=sqrt(2) * float(sem), index=index),
    )


def _change_words(state: CriterionState, *, change: float, error: float, index: float) -> str:
    reliable = abs(index) >= CRITICAL
    sum_words = f"{_number(change, 2)}/({_number(error, 3)}) = {_number(index, 3)}"
    if reliable:
        return (
            f"A reliable change: {sum_words}, at least {CRITICAL} from zero; the score's error alone seldom does this."
        )
    beginning = "Met, but not a reliable change" if state == CriterionState.MET else "Not a reliable change"
    sign = "<" if index >= 0 else "> -"
    return f"{beginning}: {sum_words} {sign}{' ' if index >= 0 else ''}{CRITICAL}; the score's error alone may do this."


def _number(number: float, places: int) -> str:
    return figure(rounded(number), places)


def attainment_of(goal: GoalSpec, *, baseline: Bounds | None, level: Bounds | None) -> AttainmentScore | None:
    """T of this one goal at baseline and at the current level (Kiresuk and Sherman), for ratings."""
    if goal.measure.kind != MeasureKind.RATING or level is None:
        return None
    now = _t(level)
    before = _t(baseline) if baseline is not None else None
    words = f"T {figure(now, 1)}" if before is None else f"T from {figure(before, 1)} to {figure(now, 1)}"
    return AttainmentScore(
        baseline=before, now=now, sentence=f"{words} (goal attainment scaling, this goal alone, at its level)."
    )


def _t(rating: Bounds) -> Decimal:
    return rounded(t_score([int(rating.low)]))
