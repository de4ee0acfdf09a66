"""Whether a visit's value lies far outside the goal's own spread.

B. Iglewicz and D. C. Hoaglin, "How to Detect and Handle Outliers", ASQC Basic References in Quality Control 16, 1993:
the modified z-score of x is 0.6745 (x - median) / MAD, MAD being the median of the absolute deviations from the
median; more than 3.5 on either side is a potential outlier (also NIST/SEMATECH e-Handbook, 1.3.5.17).

Ours beside it: six values at the least, the one in question among them, and a MAD never taken smaller than one step of
what is counted, so that after five visits of 10 of 10 a 9 of 10 is nothing to speak of and a 1 of 10 is.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from goals.enums import MeasureKind
from goals.progress.bounds import exactly, median
from goals.progress.decimals import rounded
from goals.progress.definitions import PROPORTIONS, RANKED, GoalSpec, Phase
from goals.progress.level import counted_points
from goals.progress.points import Point, points_of
from goals.progress.results import Observation
from goals.progress.series import series_of
from goals.progress.words import amount, figure

FACTOR = Fraction(6745, 10_000)
FAR = Fraction(7, 2)
FEWEST_VALUES = 6
WHOLE = frozenset({MeasureKind.DURATION, MeasureKind.LATENCY, MeasureKind.PROMPTS, MeasureKind.SCORE})


@dataclass(frozen=True, kw_only=True, slots=True)
class OutsideSpread:
    """A visit's value far from the goal's other visits, with what that rests on."""

    value: Decimal
    middle: Decimal
    score: Decimal
    visits: int
    sentence: str


def modified_z_scores(values: Sequence[Fraction], *, least_deviation: Fraction = Fraction(0)) -> list[Fraction] | None:
    """The modified z-score of each value, without a unit; None where the values have no spread to measure by.

    `least_deviation`, in the values' unit, is what the MAD is taken for at the least.
    """
    if not values:
        return None
    middle = _median(values)
    deviation = max(_median([abs(value - middle) for value in values]), least_deviation)
    if not deviation:
        return None
    return [FACTOR * (value - middle) / deviation for value in values]


def _median(values: Sequence[Fraction]) -> Fraction:
    return Fraction(median([exactly(value) for value in values]).low)


def outside_spread(
    goal: GoalSpec, phases: Sequence[Phase], observations: Sequence[Observation], *, visit: str
) -> OutsideSpread | None:
    """Whether the value of this visit lies far outside those of the goal up to it; None where nothing can be said.

    Ordered kinds have no distances, and of a censored value the number is not known: nothing is said of either.
    """
    if goal.measure.kind in RANKED:
        return None
    criterion = next((phase.criterion for phase in reversed(phases) if phase.criterion), None)
    points = counted_points(points_of(goal, criterion, series_of(goal, phases, observations).visits))
    seen = next((place for place, point in enumerate(points) if point.visit.key == visit), None)
    known = [point for point in points[: (seen or 0) + 1] if point.value is not None and point.value.exact]
    if seen is None or len(known) < FEWEST_VALUES or known[-1].visit.key != visit:
        return None
    return _judged(goal, known)


def _judged(goal: GoalSpec, known: Sequence[Point]) -> OutsideSpread | None:
    values = [Fraction(point.value.low) for point in known if point.value is not None]
    scores = modified_z_scores(values, least_deviation=_one_step(goal, known[-1]))
    if scores is None or abs(scores[-1]) <= FAR:
        return None
    value, middle = rounded(values[-1]), rounded(_median(values))
    spec, visits = goal.measure, len(values)
    said = f"{amount(spec, value)} is far from this goal's other visits: the middle of {visits} visits is"
    return OutsideSpread(
        value=value,
        middle=middle,
        score=rounded(scores[-1]),
        visits=visits,
        sentence=f"{said} {amount(spec, middle)} (modified z {figure(rounded(scores[-1]), 1)})",
    )


def _one_step(goal: GoalSpec, point: Point) -> Fraction:
    """The smallest difference that this visit's count can show."""
    if goal.measure.kind in PROPORTIONS and point.counted:
        return Fraction(1, point.counted)
    return Fraction(1) if goal.measure.kind in WHOLE else Fraction(0)
