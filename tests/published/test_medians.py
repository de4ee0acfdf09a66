"""Medians as a university course on progress monitoring prints them."""

from fractions import Fraction

import pytest

from goals.progress.bounds import exactly, median


@pytest.mark.parametrize(
    ("scores", "middle"),
    [
        pytest.param([56, 58, 53, 57], Fraction(113, 2), id="four-scores"),
        pytest.param([87, 81, 80, 89, 90, 82], Fraction(169, 2), id="six-scores"),
        pytest.param([55, 58, 52], Fraction(55), id="median-of-three-baseline-scores"),
    ],
)
def test_course_sheet(scores, middle):
    """Aim-line cheat sheet of a university course: 56.5, 84.5 and 55; a baseline is the median of three."""
    assert median([exactly(score) for score in scores]) == exactly(middle)
