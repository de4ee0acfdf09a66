"""Wilson's interval of a proportion."""

from math import sqrt
from statistics import NormalDist

from goals.progress.errors import BadSeries


def wilson(successes: int, trials: int, *, confidence: float = 0.95) -> tuple[float, float]:
    """Lower and upper end (Wilson 1927), clipped to 0 and 1; for independent trials.

    Raises BadSeries for no trials and for more successes than trials.
    """
    if trials < 1 or not 0 <= successes <= trials:
        raise BadSeries("impossible_counts", detail="Successes lie between 0 and at least one trial.")
    z = -NormalDist().inv_cdf((1 - confidence) / 2)
    share = successes / trials
    below = 1 + z * z / trials
    centre = (share + z * z / (2 * trials)) / below
    half = z * sqrt(share * (1 - share) / trials + z * z / (4 * trials * trials)) / below
    low = 0.0 if successes == 0 else max(0.0, centre - half)
    high = 1.0 if successes == trials else min(1.0, centre + half)
    return low, high
