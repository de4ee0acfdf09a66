"""How fast the value moves: Theil-Sen a week over the visits of the current phase, baseline left out."""

import math
from collections.abc import Sequence
from datetime import date
from decimal import Decimal

import numpy as np

from goals.enums import Bound
from goals.progress.bounds import Bounds
from goals.progress.checks import too_few
from goals.progress.decimals import rounded
from goals.progress.definitions import RANKED, GoalSpec
from goals.progress.level import CENSORED, ORDERED
from goals.progress.open_trend import OpenTrend, open_theil_sen
from goals.progress.points import Point
from goals.progress.results import Missing, SlopeFound
from goals.progress.trend import theil_sen
from goals.progress.words import bare_step, day_words, open_words, plural, step_amount

FEWEST_VISITS = 3
DAYS_A_WEEK = 7.0


def slope_of(goal: GoalSpec, points: Sequence[Point]) -> SlopeFound:
    """The slope a week with Sen's 95 % interval, or why there is none; censored values make it a bound."""
    if goal.measure.kind in RANKED:
        return _no_slope(ORDERED, len(points))
    values = [point.value for point in points if point.value is not None]
    days = [point.visit.day for point in points if point.value is not None]
    if len(values) < FEWEST_VISITS:
        return _no_slope(too_few(FEWEST_VISITS, len(values), "visits"), len(values))
    if len(set(days)) < 2:
        return _no_slope(too_few(2, 1, "different days"), len(values))
    found = _trend(days, values)
    if math.isinf(found.least) and math.isinf(found.most):
        return _no_slope(CENSORED, len(values))
    return _found(goal, found, days)


def _no_slope(missing: Missing, points: int) -> SlopeFound:
    return SlopeFound(
        value=None, low=None, high=None, sentence=f"Slope: {missing.sentence}.", points=points, missing=missing
    )


def _trend(days: Sequence[date], values: Sequence[Bounds]) -> OpenTrend:
    weeks = [(day - days[0]).days / DAYS_A_WEEK for day in days]
    if all(value.exact for value in values):
        numbers = np.array([[float(value.low) for value in values]])
        exact = theil_sen(np.array([weeks]), numbers)
        slope = float(exact.slope[0])
        return OpenTrend(slope, slope, float(exact.low[0]), float(exact.high[0]), bool(exact.full[0]))
    return open_theil_sen(weeks, values) or OpenTrend(-math.inf, math.inf, -math.inf, math.inf, False)


def _found(goal: GoalSpec, found: OpenTrend, days: Sequence[date]) -> SlopeFound:
    known = found.least if math.isfinite(found.least) else found.most
    bound = None
    if found.least != found.most:
        bound = Bound.LOWER if math.isfinite(found.least) else Bound.UPPER
    value, low, high = rounded(known), _end(found.low), _end(found.high)
    return SlopeFound(
        value=value,
        low=low,
        high=high,
        sentence=_sentence(goal, value, bound, interval=_interval_words(goal, low, high, found.full), days=days),
        points=len(days),
        bound=bound,
        full_interval=found.full and low is not None and high is not None,
    )


def _end(number: float) -> Decimal | None:
    return rounded(number) if math.isfinite(number) else None


def _sentence(goal: GoalSpec, value: Decimal, bound: Bound | None, *, interval: str, days: Sequence[date]) -> str:
    when = f"{day_words(days[0])} to {day_words(days[-1])}, {plural(len(days), 'visit')}"
    if bound is not None:
        words = f"changes by {open_words(bound)}{step_amount(goal.measure, value)} a week"
    elif value == 0:
        words = "stays level"
    else:
        words = f"{'rises' if value > 0 else 'falls'} by {step_amount(goal.measure, abs(value))} a week"
    return f"The value {words} (Theil-Sen; {interval}; {when})."


def _interval_words(goal: GoalSpec, low: Decimal | None, high: Decimal | None, full: bool) -> str:
    if low is None and high is None:
        return "no interval, since some values are known on one side only"
    ends = f"{_end_words(goal, low)} to {_end_words(goal, high)}"
    if full:
        return f"95 % interval {ends}"
    return f"interval {ends}, which with so few visits covers less than 95 %"


def _end_words(goal: GoalSpec, end: Decimal | None) -> str:
    return "unknown" if end is None else bare_step(goal.measure, end)
