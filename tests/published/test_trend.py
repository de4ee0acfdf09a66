"""Theil-Sen against SciPy, textbooks and published single-case series."""

import numpy as np
import pytest
from scipy.stats import theilslopes

from goals.progress.trend import theil_sen, theil_sen_ragged

RNG_SEED = 20260303


def random_series(kind: str, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Days and values of one invented series of 3 to 45 visits."""
    length = int(rng.integers(3, 46))
    days = np.sort(rng.integers(0, 200, length)).astype(float)
    if kind == "continuous":
        return days, rng.normal(size=length).cumsum()
    if kind == "many ties":
        return days, rng.integers(0, 4, length).astype(float)
    return days, rng.binomial(10, 0.6, length) / 10.0


@pytest.mark.parametrize("kind", ["continuous", "many ties", "proportions"])
def test_equal_to_scipy(kind):
    """Slope, intercept and interval equal scipy.stats.theilslopes (1.17, method "separate") to the last digit."""
    rng = np.random.default_rng(RNG_SEED)
    for _ in range(400):
        days, values = random_series(kind, rng)
        if np.unique(days).size < 2:
            continue
        theirs = theilslopes(values, days, 0.95, method="separate")
        ours = theil_sen(days, values[None, :])
        assert (ours.slope[0], ours.intercept[0], ours.low[0], ours.high[0]) == tuple(theirs)


def test_absent_points_are_as_if_they_were_not_there():
    """NaN in values or times is left out: the same as SciPy on the points that remain."""
    rng = np.random.default_rng(RNG_SEED)
    for _ in range(200):
        days, values = random_series("proportions", rng)
        kept = rng.random(days.size) > 0.2
        if np.unique(days[kept]).size < 2:
            continue
        theirs = theilslopes(values[kept], days[kept], 0.95)
        ours = theil_sen(days, np.where(kept, values, np.nan)[None, :])
        assert (ours.slope[0], ours.low[0], ours.high[0]) == (theirs.slope, theirs.low_slope, theirs.high_slope)
        assert ours.points[0] == kept.sum()


def test_a_batch_equals_its_series_one_by_one():
    """Many series at once, of equal length or laid end to end, equal SciPy on each of them."""
    rng = np.random.default_rng(RNG_SEED)
    lengths = [int(length) for length in rng.integers(2, 41, 600)]
    values = rng.integers(0, 11, sum(lengths)) / 10.0
    times = np.concatenate([np.arange(length) * 7.0 for length in lengths])
    found = theil_sen_ragged(times, values, lengths)
    start = 0
    for place, length in enumerate(lengths):
        one = slice(start, start + length)
        theirs = theilslopes(values[one], times[one], 0.95)
        assert (found.slope[place], found.low[place], found.high[place]) == (
            theirs.slope,
            theirs.low_slope,
            theirs.high_slope,
        )
        start += length


def test_other_confidence_levels_equal_scipy():
    """90 % and 80 % intervals too."""
    rng = np.random.default_rng(RNG_SEED)
    values = rng.normal(size=(20, 25))
    for confidence in (0.8, 0.9, 0.99):
        ours = theil_sen(np.arange(25.0), values, confidence=confidence)
        for row in range(20):
            theirs = theilslopes(values[row], np.arange(25.0), confidence)
            assert (ours.low[row], ours.high[row]) == (theirs.low_slope, theirs.high_slope)


def test_helsel_and_hirsch():
    """Helsel and Hirsch, Statistical Methods in Water Resources, ch. 10: slope 1, intercept 0.

    Data from memory (high confidence), numbers recomputed with SciPy; 21 pairs, an outlier does not move it.
    """
    found = theil_sen(np.arange(1.0, 8.0), [[1, 2, 3, 4, 5, 16, 7]])
    assert (found.slope[0], found.intercept[0], found.pairs[0]) == (1.0, 0.0, 21)


def test_epa_example_fixes_the_intercept():
    """EPA QA/G-9S p. 109: slope 1; intercept 9 through the medians ("joint" would give 8)."""
    found = theil_sen(np.arange(1.0, 12.0), [[10, 10, 10, 5, 10, 20, 18, 17, 15, 24, 15]])
    assert (found.slope[0], found.intercept[0]) == (1.0, 9.0)


@pytest.mark.parametrize(
    ("series", "slope"),
    [
        pytest.param([20, 20, 26, 25, 22, 23], 0.6, id="parker-vannest-davis-2011"),
        pytest.param([3, 3, 4, 5], 5 / 6, id="parker-2011"),
        pytest.param([2, 3, 5, 3], 2 / 3, id="parker-tau-u-bob"),
        pytest.param([22, 21, 23, 23, 23, 22], 0.0, id="S4"),
        pytest.param([1, 2, 3, 4, 5], 1.0, id="tarlow-pure-trend"),
        pytest.param([33, 25, 17, 25, 19, 21, 19, 14, 19, 17], -1.2, id="tarlow-script"),
        pytest.param([1, 1, 3, 3, 5, 5], 1.0, id="S7"),
        pytest.param([3, 3, 4, 5, 5, 2], 0.5, id="S8"),
        pytest.param([13.62, 12.57, 15.76], 1.07, id="mckissick-1"),
        pytest.param([8.07, 21.86, 19.6, 20.98, 17.75], 0.47, id="mckissick-2"),
        pytest.param([11.82, 13.95, 11.93, 16.09, 18.09, 11.75, 13.75, 12.59, 11], -0.08125, id="mckissick-3"),
        pytest.param([41, 59, 56, 51, 52], -0.5, id="karolina"),
        pytest.param([55, 58, 53, 50, 52], -4 / 3, id="anja"),
        pytest.param([54, 53, 56, 58, 52], 1 / 3, id="johanna"),
        pytest.param([4, 3, 4, 3, 4, 7, 5, 2, 3, 2], -1 / 8, id="parker-vannest-2009"),
        pytest.param([9, 6, 11, 5], -11 / 12, id="tarlow-2017-a"),
        pytest.param([33, 25, 17, 25, 14, 13, 14], -3.0, id="tarlow-2017-c"),
        pytest.param([5, 5, 5], 0.0, id="all-ties"),
    ],
)
def test_published_baselines(series, slope):
    """Baseline slopes of published single-case series (data of the R packages SingleCaseES and scan).

    Exact fractions recomputed from those data; .6, -1.2 and 1 are also asserted against Tarlow's own script.
    """
    found = theil_sen(np.arange(1.0, len(series) + 1), [series])
    assert found.slope[0] == pytest.approx(slope, abs=1e-12)
