"""The visits of a goal as points: each with the one value that the statistics use."""

from collections.abc import Sequence
from dataclasses import dataclass

from goals.enums import MeasureKind, PhaseKind
from goals.progress.bounds import Bounds
from goals.progress.checks import Check, check_visit
from goals.progress.clauses import decide
from goals.progress.definitions import Criterion, GoalSpec, Phase
from goals.progress.results import VisitValueFound
from goals.progress.series import Visit
from goals.progress.summaries import counts, visit_value


@dataclass(frozen=True, kw_only=True, slots=True)
class Point:
    """One visit's value as the primary clause sees it; `counts` says whether it has the minimum data."""

    visit: Visit
    value: Bounds | None
    successes: int | None
    counted: int | None
    enough: bool
    check: Check | None

    @property
    def baseline(self) -> bool:
        """Whether the point belongs to the baseline."""
        return self.visit.phase.kind == PhaseKind.BASELINE


def points_of(goal: GoalSpec, criterion: Criterion | None, visits: Sequence[Visit]) -> list[Point]:
    """All visits as points, on one measure: the primary clause in force now, for earlier visits too."""
    return [_point(goal, criterion, visit) for visit in visits]


def _point(goal: GoalSpec, criterion: Criterion | None, visit: Visit) -> Point:
    if criterion is None:
        return _point_without_criterion(goal, visit)
    if visit.phase.kind == PhaseKind.BASELINE:
        decision = decide(goal, criterion.primary, visit.measured[goal.measure.kind])
        check, enough = None, True
    else:
        check = check_visit(goal, criterion, visit)
        decision, enough = check.primary, check.qualifies
    return Point(
        visit=visit,
        value=decision.value,
        successes=decision.successes,
        counted=decision.counted,
        enough=enough,
        check=check,
    )


def _point_without_criterion(goal: GoalSpec, visit: Visit) -> Point:
    measured = visit.measured[goal.measure.kind]
    spec = goal.measure
    value = visit_value(spec, measured.cells, direction=goal.direction, watched=measured.watched)
    counted = spec.kind in (MeasureKind.ACCURACY, MeasureKind.INTERVAL, MeasureKind.STEPS)
    successes, trials = counts(spec, measured.cells, None) if counted else (None, None)
    return Point(visit=visit, value=value, successes=successes, counted=trials, enough=True, check=None)


def current_run(phases: Sequence[Phase], points: Sequence[Point]) -> list[Point]:
    """The points of the current phase and of the phases of its kind just before it: its revised criteria."""
    kinds = [phase.kind for phase in phases]
    first = len(kinds)
    while first and kinds[first - 1] == kinds[-1]:
        first -= 1
    ordinals = {phase.ordinal for phase in phases[first:]}
    return [point for point in points if point.visit.phase.ordinal in ordinals]


def point_found(goal: GoalSpec, point: Point, *, judged_in: Phase | None) -> VisitValueFound:
    """One point as it is answered; a level of an ordered scale has a name and no number."""
    judged = point.check if judged_in is not None and point.visit.phase == judged_in else None
    value = point.value
    known = None if value is None or value.unknown else value.decimal()
    ordered = goal.measure.kind == MeasureKind.ORDERED
    return VisitValueFound(
        day=point.visit.day,
        visit=point.visit.key,
        value=None if ordered else known,
        censored=value.censored if value is not None else None,
        successes=point.successes,
        counted=point.counted,
        phase=point.visit.phase.kind,
        phase_ordinal=point.visit.phase.ordinal,
        name=goal.measure.scale[int(known)] if ordered and known is not None else None,
        preliminary=point.visit.preliminary,
        qualifies=judged.qualifies if judged else None,
        satisfied=judged.satisfied if judged else None,
        clauses=judged.clauses if judged else (),
    )
