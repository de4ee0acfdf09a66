"""Shingles, resemblance and containment as the paper that defined them prints them."""

from fractions import Fraction

import pytest

from scheduling.rules.similarity import containment, resemblance, runs_of, shingles_of

ROSE = "a rose is a rose is a rose"
FLOWER = "a rose is a flower which is a rose"


def shingled(text: str, size: int) -> frozenset:
    return shingles_of(runs_of({"text": text}), size=size)


def test_shingles_of_the_rose():
    """Broder 1997, section 2, option B: the set of 4-shingles of (a,rose,is,a,rose,is,a,rose)."""
    assert shingled(ROSE, 4) == {
        ("a", "rose", "is", "a"),
        ("rose", "is", "a", "rose"),
        ("is", "a", "rose", "is"),
    }


@pytest.mark.parametrize(("size", "percent"), [(1, "60"), (2, "50"), (3, "42.85")])
def test_resemblance_of_the_rose(size, percent):
    """Broder 1997, section 2: under option B the two resemble each other 60 %, 50 % and 42.85 % by shingle size."""
    found = resemblance(shingled(ROSE, size), shingled(FLOWER, size))
    assert int(found * 10_000) / 100 == float(percent)


def test_what_the_paper_says_of_both_measures():
    """Broder 1997, section 2: r(A, A) = 1 for any size; a contiguous part of B is contained in it wholly."""
    for size in (1, 2, 3, 4):
        assert resemblance(shingled(ROSE, size), shingled(ROSE, size)) == 1
        assert containment(shingled("is a flower which is", size), shingled(FLOWER, size)) == 1
    assert containment(shingled(FLOWER, 1), shingled(ROSE, 1)) == Fraction(3, 5)
