"""Whether a change of a standardized score exceeds the test's own measurement error."""

from math import sqrt

from goals.progress.errors import BadSeries

CRITICAL = 1.96
"""Two-sided 5 % of the normal distribution, as Jacobson and Truax use it."""


def reliable_change_index(before: float, after: float, *, sem: float) -> float:
    """(after - before) / (sqrt(2) * SEM) (Jacobson and Truax 1991); reliable from 1.96 either way."""
    if not sem > 0:
        raise BadSeries("no_error", detail="A reliable change needs the score's standard error.")
    return (after - before) / (sqrt(2) * sem)
