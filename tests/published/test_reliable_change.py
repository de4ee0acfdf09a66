"""Reliable change against Jacobson and Truax's own example."""

from math import sqrt

import pytest

from goals.progress.errors import BadSeries
from goals.progress.scores import CRITICAL, reliable_change_index


def test_jacobson_and_truax_1991():
    """Pre 47.5, post 32.5, SD 7.5, reliability .80: SE 3.354, index -3.16 (from memory, high; recomputed)."""
    sem = 7.5 * sqrt(1 - 0.80)
    assert round(sem, 3) == 3.354
    assert round(reliable_change_index(47.5, 32.5, sem=sem), 2) == -3.16


def test_a_change_is_reliable_from_2_77_standard_errors():
    """1.96 times the root of 2 is 2.77."""
    assert abs(reliable_change_index(0, 2.77, sem=1)) < CRITICAL <= abs(reliable_change_index(0, 2.78, sem=1))


@pytest.mark.parametrize("sem", [0, -1, float("nan")])
def test_no_index_without_an_error(sem):
    """A standard error of nothing is refused."""
    with pytest.raises(BadSeries):
        reliable_change_index(1, 2, sem=sem)
