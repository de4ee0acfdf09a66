"""Goal attainment scaling."""

from collections.abc import Sequence
from math import sqrt

from goals.progress.errors import BadSeries

RHO = 0.3
"""The correlation between goals that Kiresuk and Sherman assume."""


def t_score(ratings: Sequence[int], weights: Sequence[float] | None = None, *, rho: float = RHO) -> float:
    """T = 50 + 10 sum(w x) / sqrt((1 - rho) sum(w^2) + rho (sum w)^2) (Kiresuk and Sherman 1968).

    Ratings are -2 to 2, weights positive; raises BadSeries for anything else.
    """
    given = [1.0] * len(ratings) if weights is None else [float(weight) for weight in weights]
    if not ratings or len(given) != len(ratings):
        raise BadSeries("shape", detail="Each of one or more goals has a rating and a weight.")
    if any(rating not in (-2, -1, 0, 1, 2) for rating in ratings):
        raise BadSeries("not_a_rating", detail="A rating is -2, -1, 0, 1 or 2.")
    if not all(0 < weight < 1e6 for weight in given):
        raise BadSeries("not_a_weight", detail="A weight is a positive number.")
    spread = (1 - rho) * sum(weight * weight for weight in given) + rho * sum(given) ** 2
    return 50 + 10 * sum(weight * rating for weight, rating in zip(given, ratings, strict=True)) / sqrt(spread)
