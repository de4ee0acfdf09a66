"""The interval of a proportion over the last visits taken together."""

from collections.abc import Sequence

from goals.progress.decimals import rounded
from goals.progress.definitions import PROPORTIONS, Clause, GoalSpec
from goals.progress.level import LAST_VISITS
from goals.progress.points import Point
from goals.progress.proportions import wilson
from goals.progress.results import ProportionInterval
from goals.progress.words import percent, plural


def pooled_interval(goal: GoalSpec, primary: Clause | None, points: Sequence[Point]) -> ProportionInterval | None:
    """Wilson's interval of the last three visits' trials; None for other kinds and where strata are judged apart."""
    if goal.measure.kind not in PROPORTIONS:
        return None
    last = points[-LAST_VISITS:]
    successes = sum(point.successes for point in last if point.successes is not None)
    counted = sum(point.counted for point in last if point.counted is not None)
    if not counted or any(point.counted is None for point in last):
        return None
    low, high = (rounded(end) for end in wilson(successes, counted))
    name = goal.measure.trial_name
    words = (
        f"{successes} of {counted} {name} over the last {plural(len(last), 'visit')}; "
        f"95 % interval {percent(low)} to {percent(high)} (Wilson)."
    )
    return ProportionInterval(
        successes=successes,
        counted=counted,
        low=low,
        high=high,
        visits=len(last),
        sentence=f"{words}{_caution(goal)}",
    )


def _caution(goal: GoalSpec) -> str:
    if goal.measure.independent_trials:
        return ""
    name = goal.measure.trial_name
    return f" The {name} of one visit are not independent trials, so the interval is narrower than it should be."
