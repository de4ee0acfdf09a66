"""Wilson's interval against R, Newcombe 1998 and SciPy."""

import pytest
from scipy.stats import binomtest

from goals.progress.proportions import wilson


@pytest.mark.parametrize(
    ("successes", "trials", "low", "high"),
    [
        pytest.param(18, 20, 0.6989663547715128, 0.972133518786232, id="18-of-20"),
        pytest.param(4, 20, 0.0806576625797981, 0.4160174322518935, id="4-of-20"),
    ],
)
def test_r_binom_confint(successes, trials, low, high):
    """R's binom.confint, values stored in the tests of statsmodels."""
    assert wilson(successes, trials) == pytest.approx((low, high), rel=1e-12)


def test_r_binom_confint_of_a_rare_success():
    """4 of 200: the lower end stored in the tests of statsmodels."""
    assert wilson(4, 200)[0] == pytest.approx(0.00780442641634947, rel=1e-12)


@pytest.mark.parametrize(
    ("successes", "trials", "low", "high"),
    [
        pytest.param(81, 263, 0.2553, 0.3662, id="81-of-263"),
        pytest.param(15, 148, 0.0624, 0.1605, id="15-of-148"),
        pytest.param(0, 20, 0.0, 0.1611, id="none"),
        pytest.param(1, 29, 0.0061, 0.1718, id="1-of-29"),
    ],
)
def test_newcombe_1998(successes, trials, low, high):
    """Newcombe, Statistics in Medicine 17:857, method 3; values from memory (high), recomputed."""
    found = wilson(successes, trials)
    assert (round(found[0], 4), round(found[1], 4)) == (low, high)


@pytest.mark.parametrize(
    ("successes", "trials", "low", "high"),
    [
        pytest.param(7, 10, 0.396778, 0.892209, id="7-of-10"),
        pytest.param(3, 5, 0.230724, 0.882379, id="3-of-5"),
        pytest.param(0, 5, 0, 0.434482, id="0-of-5"),
        pytest.param(5, 5, 0.565518, 1, id="5-of-5"),
    ],
)
def test_statsmodels(successes, trials, low, high):
    """Values computed with statsmodels 0.15."""
    found = wilson(successes, trials)
    assert (round(found[0], 6), round(found[1], 6)) == (low, high)


def test_equal_to_scipy_for_all_small_counts():
    """Every count up to 40 trials, against scipy.stats.binomtest(...).proportion_ci("wilson")."""
    for trials in range(1, 41):
        for successes in range(trials + 1):
            theirs = binomtest(successes, trials).proportion_ci(method="wilson")
            assert wilson(successes, trials) == pytest.approx((theirs.low, theirs.high), abs=1e-12)


@pytest.mark.parametrize(("successes", "trials"), [(38, 38), (0, 77)])
def test_ends_stay_within_zero_and_one(successes, trials):
    """All or none: the trap of statsmodels' issue GH 7386, where rounding pushed an end outside."""
    low, high = wilson(successes, trials)
    assert 0 <= low < high <= 1
