"""Where the child is: baseline, current level, and how far between baseline and criterion."""

import math
from collections.abc import Sequence
from fractions import Fraction

from goals.enums import Comparison, MeasureKind, MissingCode, Purpose
from goals.progress.bounds import Bounds, median, middle_rank
from goals.progress.checks import too_few
from goals.progress.criteria import target_of
from goals.progress.definitions import RANKED, Clause, GoalSpec, MeasureSpec
from goals.progress.points import Point
from goals.progress.results import Figure, Missing
from goals.progress.summaries import rises
from goals.progress.words import amount, figure, open_words

LAST_VISITS = 3
ORDERED = Missing(code=MissingCode.ORDERED, sentence="no percent, no slope: ordered")
CENSORED = Missing(code=MissingCode.CENSORED, sentence="no number: too many values are known on one side only")


def baseline_value(goal: GoalSpec, points: Sequence[Point]) -> tuple[Bounds | None, int]:
    """The median of the baseline's values, and how many there are."""
    values = [point.value for point in points if point.baseline and point.value is not None]
    return _middle_of(goal, values), len(values)


def level_value(goal: GoalSpec, points: Sequence[Point]) -> tuple[Bounds | None, int]:
    """The median of the last three visits with enough data after the baseline, and how many these are."""
    values = [point.value for point in counted_points(points) if point.value is not None][-LAST_VISITS:]
    return _middle_of(goal, values), len(values)


def counted_points(points: Sequence[Point]) -> list[Point]:
    """The points after the baseline that have a value and the minimum data."""
    return [point for point in points if not point.baseline and point.enough and point.value is not None]


def _middle_of(goal: GoalSpec, values: Sequence[Bounds]) -> Bounds | None:
    if not values:
        return None
    if goal.measure.kind in RANKED:
        return middle_rank(values, higher_is_better=rises(goal.direction))
    return median(values)


def baseline_figure(goal: GoalSpec, value: Bounds | None, count: int) -> Figure:
    """The baseline in words; one observation, the usual case, is said so."""
    rests_on = "one observation" if count == 1 else f"the middle of {count} observations"
    return _figure(goal.measure, value, count, heading="Baseline", rests_on=rests_on, noun="observations")


def level_figure(goal: GoalSpec, value: Bounds | None, count: int) -> Figure:
    """The current level in words."""
    rests_on = "from one visit" if count == 1 else f"the middle of the last {count} visits"
    return _figure(goal.measure, value, count, heading="Level", rests_on=rests_on, noun="visits")


def _figure(spec: MeasureSpec, value: Bounds | None, count: int, *, heading: str, rests_on: str, noun: str) -> Figure:
    missing = too_few(1, 0, noun) if value is None else CENSORED if value.unknown else None
    if value is None or missing is not None:
        reason = missing.sentence if missing else ""
        return Figure(value=None, sentence=f"{heading}: {reason}.", points=count, missing=missing)
    number = value.decimal()
    ordered = spec.kind == MeasureKind.ORDERED
    return Figure(
        value=None if ordered else number,
        sentence=f"{heading}: {open_words(value.bound)}{amount(spec, number)}, {rests_on}.",
        bound=value.bound,
        points=count,
        name=spec.scale[int(number)] if ordered else None,
    )


def percent_figure(goal: GoalSpec, primary: Clause | None, *, baseline: Bounds | None, level: Bounds | None) -> Figure:
    """How far of the way from baseline to criterion, not cut off at 0 or 100 %; as a percentage."""
    missing = _no_percent(goal, primary, baseline=baseline, level=level)
    if missing is not None or baseline is None or level is None or primary is None:
        reason = missing.sentence if missing else ""
        return Figure(value=None, sentence=f"Percent of the way: {reason}.", missing=missing)
    target = target_of(goal.measure, primary.value) or Fraction(0)
    way = _way(baseline, level, target)
    if way.unknown:
        return Figure(value=None, sentence=f"Percent of the way: {CENSORED.sentence}.", missing=CENSORED)
    number = way.decimal()
    words = f"{open_words(way.bound)}{figure(number, 1)} %"
    sentence = f"{words} of the way from baseline to criterion.".capitalize()
    return Figure(value=number, sentence=sentence, bound=way.bound, points=1)


def _way(baseline: Bounds, level: Bounds, target: Fraction) -> Bounds:
    start = Fraction(baseline.low)
    ends = [
        (end - start) / (target - start) * 100
        if math.isfinite(end)
        else math.copysign(math.inf, end * (target - start))
        for end in (level.low, level.high)
    ]
    return Bounds(min(ends), max(ends))


def _no_percent(
    goal: GoalSpec, primary: Clause | None, *, baseline: Bounds | None, level: Bounds | None
) -> Missing | None:
    if goal.measure.kind in RANKED:
        return ORDERED
    if primary is None:
        return Missing(code=MissingCode.NO_CRITERION, sentence="no percent: this phase has no criterion")
    if goal.purpose == Purpose.MAINTAIN:
        return Missing(code=MissingCode.MAINTAIN, sentence="no percent: the goal is to keep what is there")
    if primary.comparison == Comparison.WITHIN:
        return Missing(code=MissingCode.BAND, sentence="no percent: the criterion is a band")
    if baseline is None:
        return too_few(1, 0, "baseline observations")
    if level is None:
        return too_few(1, 0, "visits")
    if not baseline.exact:
        return CENSORED
    return _no_way(goal, primary, baseline)


def _no_way(goal: GoalSpec, primary: Clause, baseline: Bounds) -> Missing | None:
    target = target_of(goal.measure, primary.value)
    upward = primary.comparison == Comparison.AT_LEAST
    if target is not None and (baseline.low < target if upward else baseline.low > target):
        return None
    return Missing(
        code=MissingCode.BASELINE_MEETS_CRITERION,
        sentence="no percent: the baseline already reaches the criterion's value",
    )
