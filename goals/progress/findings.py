"""Everything that the numbers of one goal say, in one call."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from goals.progress.achievement import achievement_of
from goals.progress.bounds import Bounds
from goals.progress.criterion import judge, no_criterion
from goals.progress.definitions import Criterion, GoalSpec, Phase
from goals.progress.digest import ENGINE, input_digest, known_by
from goals.progress.level import (
    baseline_figure,
    baseline_value,
    counted_points,
    level_figure,
    level_value,
    percent_figure,
)
from goals.progress.points import Point, current_run, point_found, points_of
from goals.progress.pooled import pooled_interval
from goals.progress.ranks import rank_change
from goals.progress.results import CriterionFound, Findings, Observation
from goals.progress.score_change import attainment_of, change_of_score
from goals.progress.sentences import with_sentences
from goals.progress.series import Series, series_of
from goals.progress.slope import slope_of


@dataclass(frozen=True, kw_only=True, slots=True)
class _Ground:
    """What the findings of one goal are drawn from."""

    goal: GoalSpec
    phases: Sequence[Phase]
    current: Phase | None
    criterion: Criterion | None
    series: Series
    points: Sequence[Point]
    baseline: tuple[Bounds | None, int]
    level: tuple[Bounds | None, int]


def find(
    goal: GoalSpec,
    phases: Iterable[Phase],
    observations: Iterable[Observation],
    *,
    as_of: date | None = None,
) -> Findings:
    """Value by visit, baseline, level, percent of the way, slope and criterion, each with its sentence.

    Rests on phases begun and observations made by `as_of` (all of them without one), and on nothing else.
    """
    begun, seen = known_by(as_of, phases, observations)
    ground = _ground(goal, begun, seen)
    return with_sentences(goal, _findings(ground, digest=input_digest(goal, begun, seen)))


def _ground(goal: GoalSpec, phases: Sequence[Phase], observations: Sequence[Observation]) -> _Ground:
    current = phases[-1] if phases else None
    criterion = next((phase.criterion for phase in reversed(phases) if phase.criterion), None)
    series = series_of(goal, phases, observations)
    points = points_of(goal, criterion, series.visits)
    return _Ground(
        goal=goal,
        phases=phases,
        current=current,
        criterion=criterion,
        series=series,
        points=points,
        baseline=baseline_value(goal, points),
        level=level_value(goal, points),
    )


def _findings(ground: _Ground, *, digest: str) -> Findings:
    goal, current = ground.goal, ground.current
    primary = ground.criterion.primary if ground.criterion else None
    baseline, level = ground.baseline[0], ground.level[0]
    criterion = _criterion(ground)
    run = counted_points(current_run(ground.phases, ground.points))
    slope = slope_of(goal, run)
    return Findings(
        engine=ENGINE,
        input_digest=digest,
        kind=goal.measure.kind,
        unit=goal.measure.unit,
        phase=current.kind if current else None,
        phase_ordinal=current.ordinal if current else None,
        visits=tuple(point_found(goal, point, judged_in=_judged_phase(current)) for point in ground.points),
        not_measured=ground.series.not_measured,
        outside_phases=ground.series.outside_phases,
        baseline=baseline_figure(goal, *ground.baseline),
        level=level_figure(goal, *ground.level),
        percent=percent_figure(goal, primary, baseline=baseline, level=level),
        slope=slope,
        criterion=criterion,
        interval=pooled_interval(goal, primary, counted_points(ground.points)),
        ranks=rank_change(goal, primary, baseline=baseline, level=level),
        reliable_change=change_of_score(goal, criterion.state, baseline=baseline, points=counted_points(ground.points)),
        attainment=attainment_of(goal, baseline=baseline, level=level),
        achievement=achievement_of(goal, current, criterion=criterion, slope=slope, baseline=baseline, level=level),
        preliminary=any(point.visit.preliminary for point in ground.points),
    )


def _judged_phase(current: Phase | None) -> Phase | None:
    return current if current is not None and current.criterion is not None else None


def _criterion(ground: _Ground) -> CriterionFound:
    """Judged by the current phase's own criterion; an earlier one only lends its measure to the statistics."""
    if ground.current is None or ground.current.criterion is None:
        return no_criterion()
    checks = [point.check for point in ground.points if point.check is not None and point.visit.phase == ground.current]
    return judge(ground.goal, ground.current.criterion, checks)
