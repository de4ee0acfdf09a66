"""Goal attainment scaling against the published formula, example and conversion table."""

import pytest

from goals.progress.attainment import t_score
from goals.progress.errors import BadSeries

TABLE = {
    1: "30.0 40.0 50.0 60.0 70.0",
    2: "25.2 31.4 37.6 43.8 50.0 56.2 62.4 68.6 74.8",
    3: "22.6 27.2 31.7 36.3 40.9 45.4 50.0 54.6 59.1 63.7 68.3 72.8 77.4",
    4: "21.0 24.6 28.2 31.9 35.5 39.1 42.7 46.4 50.0 53.6 57.3 60.9 64.5 68.1 71.8 75.4 79.0",
}


def ratings_with_sum(total: int, goals: int) -> list[int]:
    """Ratings of so many goals that add up to a sum."""
    ratings = [-2] * goals
    for step in range(total + 2 * goals):
        ratings[step % goals] += 1
    return ratings


@pytest.mark.parametrize("goals", TABLE)
def test_equal_weights(goals):
    """T for every sum of equally weighted goals; agrees with Kiresuk, Smith and Cardillo 1994 (from memory)."""
    for total, printed in zip(range(-2 * goals, 2 * goals + 1), TABLE[goals].split(), strict=True):
        assert round(t_score(ratings_with_sum(total, goals)), 1) == float(printed)


def test_weighted_example():
    """The example of the R package gasr's documentation: sum 7 over the root of 196, T exactly 55."""
    assert t_score([-2, 0, -1, 2, 0, 1], [3, 5, 1, 4, 2, 6]) == 55.0


def test_kiresuk_and_sherman_1968_and_not_the_misprint():
    """T = 50 + 10 sum(wx) / sqrt(.7 sum(w^2) + .3 (sum w)^2); the form printed in 2009 had an erratum."""
    assert t_score([1, 1], [1, 1]) == pytest.approx(50 + 20 / (0.7 * 2 + 0.3 * 4) ** 0.5)


def test_scale_of_weights_cancels():
    """Doubling every weight changes nothing, and all at the expected level is 50."""
    assert t_score([1, -1, 2], [2, 4, 6]) == pytest.approx(t_score([1, -1, 2], [1, 2, 3]))
    assert t_score([0, 0, 0], [1, 5, 9]) == 50


@pytest.mark.parametrize(
    ("ratings", "weights"),
    [([], None), ([3], None), ([1], [0]), ([1], [float("nan")]), ([1, 1], [1])],
    ids=["none", "beyond-the-scale", "no-weight", "nan-weight", "weights-missing"],
)
def test_impossible_ratings_are_refused(ratings, weights):
    """No goal, a rating off the scale, a weight that is none: a typed error, never a number."""
    with pytest.raises(BadSeries):
        t_score(ratings, weights)
