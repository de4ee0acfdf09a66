"""Theil-Sen of one series whose values may be known on one side only: how low, and how high, the slope may be."""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from goals.progress.bounds import Bounds, Number

CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class OpenTrend:
    """The slope lies between `least` and `most`; the interval's ends are the widest that the values allow."""

    least: float
    most: float
    low: float
    high: float
    full: bool


def open_theil_sen(times: Sequence[float], values: Sequence[Bounds]) -> OpenTrend | None:
    """The median of pairwise slopes, bounded: a median never falls when a slope rises (Sen 1968, interval as there).

    None where there are not two different times. Ties take nothing off the variance, which widens the interval.
    """
    least = np.sort(_slopes(times, [value.low for value in values], [value.high for value in values]))
    most = np.sort(_slopes(times, [value.high for value in values], [value.low for value in values]))
    pairs, points = len(least), len(values)
    if not pairs:
        return None
    reach = -NormalDist().inv_cdf((1 - CONFIDENCE) / 2) * np.sqrt(points * (points - 1) * (2 * points + 5) / 18)
    lower, upper = int(np.rint((pairs - reach) / 2)) - 1, int(np.rint((pairs + reach) / 2))
    return OpenTrend(
        least=_median(least),
        most=_median(most),
        low=float(least[max(lower, 0)]),
        high=float(most[min(upper, pairs - 1)]),
        full=lower >= 0 and upper <= pairs - 1,
    )


def _slopes(times: Sequence[float], later: Sequence[Number], earlier: Sequence[Number]) -> np.ndarray:
    moments = np.asarray(times, dtype=float)
    runs = moments[:, None] - moments
    rises = np.asarray(later, dtype=float)[:, None] - np.asarray(earlier, dtype=float)
    return np.asarray(rises[runs > 0] / runs[runs > 0])


def _median(ordered: np.ndarray) -> float:
    left, right = ordered[(len(ordered) - 1) // 2], ordered[len(ordered) // 2]
    return float(left if left == right else (left + right) / 2)
