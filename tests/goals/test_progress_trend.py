"""Properties of the slope, and what it answers for series that hardly are one."""

import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from goals.progress.errors import BadSeries
from goals.progress.proportions import wilson
from goals.progress.trend import theil_sen, theil_sen_ragged

SERIES = st.lists(st.integers(-50, 50), min_size=2, max_size=25).map(lambda values: np.array([values], dtype=float))


def found(values: np.ndarray, times: np.ndarray | None = None) -> tuple[float, float, float]:
    """Slope and interval of one series, visits a week apart unless told otherwise."""
    weeks = np.arange(values.shape[1], dtype=float) if times is None else times
    trend = theil_sen(weeks, values)
    return float(trend.slope[0]), float(trend.low[0]), float(trend.high[0])


@given(SERIES, st.integers(-1000, 1000))
def test_shift(values, shift):
    """Adding the same to every value changes nothing."""
    assert found(values + shift) == found(values)


@given(SERIES, st.sampled_from([0.25, 0.5, 2, 4, 64]))
def test_scale(values, factor):
    """Twice the values, twice the slope; twice the time, half of it."""
    assert found(values * factor) == tuple(number * factor for number in found(values))
    weeks = np.arange(values.shape[1]) * factor
    assert found(values, weeks) == tuple(number / factor for number in found(values))


@given(SERIES)
def test_reversal(values):
    """Told backwards or upside down, the slope and its interval change their sign."""
    slope, low, high = found(values)
    assert found(values[:, ::-1])[0] == -slope
    assert found(-values)[0] == -slope
    assert low <= slope <= high


@given(SERIES, st.randoms(use_true_random=False))
def test_order_of_points(values, random):
    """The points of a series may come in any order of time."""
    order = list(range(values.shape[1]))
    random.shuffle(order)
    assert found(values[:, order], np.array(order, dtype=float)) == found(values)


@given(st.lists(st.lists(st.integers(0, 9), min_size=0, max_size=9), min_size=0, max_size=20))
def test_a_batch_is_its_series(rows):
    """Series of any lengths in one batch are each as they are alone, whether padded or laid end to end."""
    lengths = [len(row) for row in rows]
    flat = np.array([value for row in rows for value in row], dtype=float)
    times = np.array([place for row in rows for place in range(len(row))], dtype=float)
    ragged = theil_sen_ragged(times, flat, lengths)
    padded = np.full((len(rows), 9), np.nan)
    for place, row in enumerate(rows):
        padded[place, : len(row)] = row
    whole = theil_sen(np.arange(9.0), padded)
    for name in ("slope", "intercept", "low", "high", "points", "pairs", "full"):
        np.testing.assert_array_equal(getattr(ragged, name), getattr(whole, name))


@pytest.mark.parametrize(
    ("times", "values"),
    [
        pytest.param([[1.0]], [[5.0]], id="one-point"),
        pytest.param([[2.0, 2.0, 2.0]], [[1.0, 2.0, 3.0]], id="one-time"),
        pytest.param([[1.0, 2.0]], [[np.nan, np.nan]], id="nothing"),
        pytest.param([[1.0, np.nan]], [[1.0, 2.0]], id="time-absent"),
        pytest.param(np.empty((1, 0)), np.empty((1, 0)), id="empty"),
    ],
)
def test_no_two_times_have_no_slope(times, values):
    """Without two different times there is no slope: NaN and no pairs, without a warning."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        trend = theil_sen(times, values)
    assert np.isnan([trend.slope[0], trend.low[0], trend.high[0]]).all()
    assert (trend.pairs[0], trend.full[0]) == (0, False)


@pytest.mark.parametrize(
    ("times", "values", "code"),
    [
        pytest.param([[1.0, 2.0]], [[1.0, np.inf]], "not_finite", id="infinite-value"),
        pytest.param([[1.0, -np.inf]], [[1.0, 2.0]], "not_finite", id="infinite-time"),
        pytest.param([[1.0, 2.0]], [[1.0, 1e200]], "not_finite", id="absurd"),
        pytest.param([1.0, 2.0, 3.0], [[1.0, 2.0]], "shape", id="times-do-not-fit"),
        pytest.param([1.0, 2.0], [1.0, 2.0], "shape", id="no-batch"),
        pytest.param(np.arange(10_000.0), np.zeros((1, 10_000)), "too_long", id="10000-points"),
    ],
)
def test_impossible_series_are_refused(times, values, code):
    """Infinite or absurd numbers and shapes that do not fit are a typed error."""
    with pytest.raises(BadSeries) as refusal:
        theil_sen(times, values)
    assert refusal.value.code == code


def test_ragged_lengths_must_fit():
    """Lengths that do not add up are a typed error."""
    with pytest.raises(BadSeries):
        theil_sen_ragged([1.0, 2.0], [1.0, 2.0], [3])


@pytest.mark.parametrize(("successes", "trials"), [(0, 0), (5, 4), (-1, 4)])
def test_impossible_proportions_are_refused(successes, trials):
    """No trials, or more successes than trials, have no interval."""
    with pytest.raises(BadSeries):
        wilson(successes, trials)


@given(st.integers(1, 200).flatmap(lambda trials: st.tuples(st.integers(0, trials), st.just(trials))))
def test_wilson_holds_its_proportion_and_mirrors(counted):
    """The proportion lies inside, the ends inside 0 and 1, and failures mirror successes."""
    successes, trials = counted
    low, high = wilson(successes, trials)
    assert 0 <= low <= successes / trials <= high <= 1
    mirrored = wilson(trials - successes, trials)
    assert (1 - mirrored[1], 1 - mirrored[0]) == pytest.approx((low, high), abs=1e-12)
