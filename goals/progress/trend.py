"""Theil-Sen slopes of many series at once, with Sen's interval.

Theil 1950, Sen 1968: the median of the slopes of all pairs of points at different times. The interval takes
order statistics of those slopes (Sen 1968, formula 2.6; Gilbert 1987), with ties in values and times taken
off the variance. The line goes through the medians (Conover): intercept = median(y) - slope * median(t).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from goals.progress.errors import BadSeries

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
BATCH = 256
LARGEST = 1e100
MOST_POINTS = 2_000


@dataclass(frozen=True, slots=True)
class Trend:
    """One entry a series: NaN where there are not two different times; `full` where the interval is not cut short."""

    slope: Floats
    intercept: Floats
    low: Floats
    high: Floats
    points: Ints
    pairs: Ints
    full: NDArray[np.bool_]


def theil_sen(times: object, values: object, *, confidence: float = 0.95) -> Trend:
    """Slopes of the rows of `values`, shape (series, points), against `times` of that shape or of one row.

    Units: values per unit of time. NaN in either is an absent point; a row may be in any order of time.
    Raises BadSeries for infinite or absurd numbers and for shapes that do not fit.
    """
    rows, moments = _checked(times, values)
    whole = np.isnan(rows) | np.isnan(moments)
    rows, moments = np.where(whole, np.nan, rows), np.where(whole, np.nan, moments)
    size = max(1, BATCH * 780 // max(1, rows.shape[1] * (rows.shape[1] - 1) // 2))
    parts = [
        _batch(moments[start : start + size], rows[start : start + size], confidence)
        for start in range(0, rows.shape[0], size)
    ]
    return _joined(parts)


def theil_sen_ragged(times: object, values: object, lengths: Sequence[int], *, confidence: float = 0.95) -> Trend:
    """Slopes of series laid end to end in two flat arrays; `lengths` says where each one ends."""
    flat_times, flat_values = np.asarray(times, dtype=float), np.asarray(values, dtype=float)
    ends = np.cumsum(np.asarray(lengths, dtype=np.int64))
    if flat_times.shape != flat_values.shape or flat_values.ndim != 1 or _total(ends) != flat_values.size:
        raise BadSeries("shape", detail="Flat times and values are as long as all lengths together.")
    if len(lengths) and min(lengths) < 0:
        raise BadSeries("shape", detail="A series cannot have a negative length.")
    found = _empty(len(lengths))
    for length in sorted(set(lengths)):
        which = np.flatnonzero(np.asarray(lengths) == length)
        places = (ends[which] - length)[:, None] + np.arange(length)
        _fill(found, which, theil_sen(flat_times[places], flat_values[places], confidence=confidence))
    return found


def _total(ends: Ints) -> int:
    return int(ends[-1]) if ends.size else 0


def _checked(times: object, values: object) -> tuple[Floats, Floats]:
    rows = np.asarray(values, dtype=float)
    if rows.ndim != 2:
        raise BadSeries("shape", detail="Values have the shape (series, points).")
    if rows.shape[1] > MOST_POINTS:
        raise BadSeries("too_long", detail=f"A series has at most {MOST_POINTS} points.")
    try:
        moments = np.broadcast_to(np.asarray(times, dtype=float), rows.shape)
    except ValueError:
        raise BadSeries("shape", detail="Times have the shape of the values, or of one row of them.") from None
    for numbers in (rows, moments):
        if np.any(np.abs(numbers) > LARGEST):
            raise BadSeries("not_finite", detail="A series holds finite numbers of a sensible size.")
    return rows, moments


def _batch(times: Floats, values: Floats, confidence: float) -> Trend:
    slopes, equal_values, equal_times = _pairwise(times, values)
    slopes.sort(axis=1)
    points = np.count_nonzero(~np.isnan(values), axis=1)
    pairs = np.count_nonzero(~np.isnan(slopes), axis=1)
    slope = _middle(slopes, pairs)
    low, high, full = _interval(slopes, pairs, _variance(points, equal_values, equal_times), confidence)
    intercept = _row_medians(values, points) - slope * _row_medians(times, points)
    return Trend(slope, intercept, low, high, points.astype(np.int64), pairs.astype(np.int64), full)


def _pairwise(times: Floats, values: Floats) -> tuple[Floats, Ints, Ints]:
    """All slopes, lag by lag into one array, and for each point how many others share its value and its time."""
    series, length = values.shape
    slopes = np.empty((series, length * (length - 1) // 2))
    equal_values = np.zeros(values.shape, dtype=np.int64)
    equal_times = np.zeros(values.shape, dtype=np.int64)
    start = 0
    for lag in range(1, length):
        rise = values[:, lag:] - values[:, :-lag]
        run = times[:, lag:] - times[:, :-lag]
        _count_ties(equal_values, rise == 0, lag)
        together = run == 0
        if together.any():
            _count_ties(equal_times, together, lag)
            run[together] = np.nan
        np.divide(rise, run, out=slopes[:, start : start + length - lag])
        start += length - lag
    return slopes, equal_values, equal_times


def _count_ties(counts: Ints, equal: NDArray[np.bool_], lag: int) -> None:
    if equal.any():
        counts[:, lag:] += equal
        counts[:, :-lag] += equal


def _variance(points: Ints, equal_values: Ints, equal_times: Ints) -> Floats:
    """Variance of Kendall's S: each of a tie group's t points adds (t - 1)(2t + 5) to what is taken off."""
    tied = sum((equal * (2 * (equal + 1) + 5)).sum(axis=1, dtype=np.float64) for equal in (equal_values, equal_times))
    return (points * (points - 1.0) * (2.0 * points + 5.0) - tied) / 18.0


def _interval(
    slopes: Floats, pairs: Ints, variance: Floats, confidence: float
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    known = (pairs > 0) & (variance >= 0)
    reach = -NormalDist().inv_cdf((1.0 - confidence) / 2.0) * np.sqrt(np.where(known, variance, 0.0))
    upper = np.rint((pairs + reach) / 2.0).astype(np.int64)
    lower = np.rint((pairs - reach) / 2.0).astype(np.int64) - 1
    full = known & (upper <= pairs - 1) & (lower >= 0)
    high = _at(slopes, np.clip(upper, 0, np.maximum(pairs - 1, 0)), known)
    low = _at(slopes, np.clip(lower, 0, np.maximum(pairs - 1, 0)), known)
    return low, high, full


def _at(ordered: Floats, places: Ints, known: NDArray[np.bool_]) -> Floats:
    if ordered.shape[1] == 0:
        return np.full(ordered.shape[0], np.nan)
    found = np.take_along_axis(ordered, places[:, None], axis=1)[:, 0]
    return np.where(known, found, np.nan)


def _middle(ordered: Floats, counts: Ints) -> Floats:
    """The median of each row's first `counts` entries; NaN for none."""
    known = counts > 0
    left = _at(ordered, np.maximum(counts - 1, 0) // 2, known)
    right = _at(ordered, np.where(known, counts // 2, 0), known)
    return np.where(left == right, left, 0.5 * (left + right))


def _row_medians(rows: Floats, counts: Ints) -> Floats:
    return _middle(np.sort(rows, axis=1), counts)


def _empty(series: int) -> Trend:
    slope, intercept, low, high = (np.full(series, np.nan) for _ in range(4))
    points, pairs = (np.zeros(series, dtype=np.int64) for _ in range(2))
    return Trend(slope, intercept, low, high, points, pairs, np.zeros(series, dtype=bool))


def _fill(whole: Trend, which: NDArray[np.intp], part: Trend) -> None:
    for name in ("slope", "intercept", "low", "high", "points", "pairs", "full"):
        getattr(whole, name)[which] = getattr(part, name)


def _joined(parts: Sequence[Trend]) -> Trend:
    if not parts:
        return _empty(0)
    names = ("slope", "intercept", "low", "high", "points", "pairs", "full")
    return Trend(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))
