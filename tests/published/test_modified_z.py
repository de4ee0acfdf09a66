"""Modified z-scores against SciPy's median absolute deviation, and against a printed example."""

from fractions import Fraction

import numpy as np
import pytest
from scipy.stats import median_abs_deviation

from goals.progress.spread import modified_z_scores

RNG_SEED = 20260331


@pytest.mark.parametrize("length", [6, 7, 20, 41])
def test_equal_to_scipy(length):
    """0.6745 (x - median) / MAD, the MAD as scipy.stats.median_abs_deviation (1.17) finds it."""
    rng = np.random.default_rng(RNG_SEED)
    for _ in range(100):
        values = rng.integers(0, 60, length)
        deviation = median_abs_deviation(values)
        found = modified_z_scores([Fraction(int(value)) for value in values])
        if not deviation:
            assert found is None
            continue
        theirs = 0.6745 * (values - np.median(values)) / deviation
        assert [float(score) for score in found or ()] == pytest.approx(theirs.tolist())


def test_a_printed_example():
    """S. Seo's thesis (Pittsburgh 2006) prints these scores for 14 values, two of them far out; from memory."""
    values = ["3.2", "3.4", "3.7", "3.7", "3.8", "3.9", "4", "4", "4.1", "4.2", "4.7", "4.8", "14", "15"]
    found = [round(float(score), 2) for score in modified_z_scores([Fraction(value) for value in values]) or ()]
    assert (found[0], found[1], found[-2], found[-1]) == (-1.80, -1.35, 22.48, 24.73)
