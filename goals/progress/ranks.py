"""Changes of ordered kinds, in words: levels gained of those needed."""

from goals.enums import Comparison, MeasureKind
from goals.progress.bounds import Bounds
from goals.progress.criteria import target_of
from goals.progress.definitions import RANKED, Clause, GoalSpec
from goals.progress.results import RankChange
from goals.progress.summaries import rises
from goals.progress.words import number_word


def rank_change(
    goal: GoalSpec, primary: Clause | None, *, baseline: Bounds | None, level: Bounds | None
) -> RankChange | None:
    """Levels or steps gained since baseline, for ordered kinds; None for others and without both."""
    if goal.measure.kind not in RANKED or baseline is None or level is None:
        return None
    way = 1 if rises(goal.direction) else -1
    gained = int(level.low - baseline.low) * way
    target = target_of(goal.measure, primary.value) if primary is not None else None
    needed = None
    if primary is not None and target is not None and primary.comparison != Comparison.WITHIN:
        needed = int(target - baseline.low) * way
    words = f"{_gained_words(_noun(goal), gained, needed)}{_reached_words(goal, primary, level)}"
    return RankChange(gained=gained, needed=needed, sentence=f"{words[0].upper()}{words[1:]}.")


def _noun(goal: GoalSpec) -> str:
    return "step" if goal.measure.kind == MeasureKind.STEPS else "level"


def _gained_words(noun: str, gained: int, needed: int | None) -> str:
    if gained < 0:
        return f"{_many(-gained, noun)} lost"
    if needed is None or needed <= 0:
        return f"{_many(gained, noun)} gained"
    if gained > needed:
        return f"{_many(gained, noun)} gained, {number_word(needed)} needed"
    part = "none" if gained == 0 else number_word(gained)
    return f"{part} of {_many(needed, noun)} gained"


def _many(number: int, noun: str) -> str:
    return f"{number_word(number)} {noun}{'' if number == 1 else 's'}"


def _reached_words(goal: GoalSpec, primary: Clause | None, level: Bounds) -> str:
    target = target_of(goal.measure, primary.value) if primary is not None else None
    if primary is None or target is None or primary.comparison == Comparison.WITHIN:
        return ""
    upward = primary.comparison == Comparison.AT_LEAST
    reached = level.low >= target if upward else level.low <= target
    asked = "number of steps" if goal.measure.kind == MeasureKind.STEPS else "level"
    return f"; the {asked} asked for is {'reached' if reached else 'not reached'}"
