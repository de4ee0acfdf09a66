"""The numbers' own reading of a goal, in the words of HL7 FHIR goal-achievement; the therapist's stands beside it."""

from goals.enums import Achievement, CriterionState, Direction, PhaseKind, Purpose
from goals.progress.bounds import Bounds
from goals.progress.definitions import GoalSpec, Phase
from goals.progress.results import CriterionFound, SlopeFound
from goals.progress.summaries import rises


def achievement_of(
    goal: GoalSpec,
    phase: Phase | None,
    *,
    criterion: CriterionFound,
    slope: SlopeFound,
    baseline: Bounds | None,
    level: Bounds | None,
) -> Achievement:
    """Achieved or sustaining when met; improving or worsening only when the whole interval of the slope says so.

    A goal to keep what is there reads a level no worse than baseline as sustaining.
    """
    keeping = goal.purpose == Purpose.MAINTAIN or (phase is not None and phase.kind == PhaseKind.MAINTENANCE)
    if criterion.state == CriterionState.MET:
        return Achievement.SUSTAINING if keeping else Achievement.ACHIEVED
    moving = _moving(goal, slope)
    if moving == Achievement.WORSENING:
        return moving
    if goal.purpose == Purpose.MAINTAIN and _no_worse(goal, baseline, level):
        return Achievement.SUSTAINING
    return moving


def _moving(goal: GoalSpec, slope: SlopeFound) -> Achievement:
    if not slope.full_interval or slope.low is None or slope.high is None:
        return Achievement.IN_PROGRESS
    if goal.direction == Direction.MAINTAIN or slope.low <= 0 <= slope.high:
        return Achievement.IN_PROGRESS
    wanted = slope.low > 0 if rises(goal.direction) else slope.high < 0
    return Achievement.IMPROVING if wanted else Achievement.WORSENING


def _no_worse(goal: GoalSpec, baseline: Bounds | None, level: Bounds | None) -> bool:
    if baseline is None or level is None or goal.direction == Direction.MAINTAIN:
        return False
    return level.low >= baseline.high if rises(goal.direction) else level.high <= baseline.low
