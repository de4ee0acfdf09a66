"""Goals and phases as the rows hold them, read into the definitions that the progress rules take."""

from collections.abc import Iterable
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db.models import Prefetch, QuerySet

from goals.enums import (
    ASSISTANCE_SCALE,
    AssistanceLevel,
    Comparison,
    ConsistencyKind,
    Direction,
    IntervalMethod,
    MeasureKind,
    PhaseKind,
    PromptKind,
    Purpose,
    SideRule,
    Strata,
    VisitValue,
)
from goals.models import Clause as ClauseRow
from goals.models import Goal, GoalPhase
from goals.progress.definitions import (
    Clause,
    Consistency,
    Criterion,
    Generalization,
    GoalSpec,
    MeasureSpec,
    MinimumData,
    Phase,
)
from goals.progress.reading import read_measure

PHASES = Prefetch(
    "phases",
    GoalPhase.objects.order_by("ordinal").prefetch_related(
        Prefetch("clauses", ClauseRow.objects.order_by("ordinal")),
    ),
)


def defined(goals: QuerySet[Goal]) -> QuerySet[Goal]:
    """These goals with all that their definitions take already fetched."""
    return goals.select_related("scale").prefetch_related(PHASES)


def spec_of(goal: Goal) -> GoalSpec:
    """What a goal measures, and which way it is meant to move."""
    return GoalSpec(
        purpose=Purpose(goal.purpose),
        direction=Direction(goal.direction),
        measure=_measure_of(goal),
        components=tuple(read_measure(stored["spec"]) for stored in goal.components),
    )


def _measure_of(goal: Goal) -> MeasureSpec:
    return MeasureSpec(
        kind=MeasureKind(goal.measure),
        unit=goal.unit,
        visit_value=VisitValue(goal.visit_value),
        strata=Strata(goal.strata),
        names=tuple(goal.strata_names),
        scale=levels_of(goal),
        sem=goal.standard_error,
        per_minutes=Decimal(goal.per_minutes),
        alone_at=AssistanceLevel(goal.alone_at),
        interval_method=IntervalMethod(goal.interval_method) if goal.interval_method else None,
        trial_name=goal.trial_name,
        independent_trials=goal.independent_trials,
    )


def levels_of(goal: Goal) -> tuple[str, ...]:
    """The levels of an ordered goal, lowest first: its scale's own, or level of assistance."""
    if goal.measure != MeasureKind.ORDERED:
        return ()
    return tuple(goal.scale.levels) if goal.scale else ASSISTANCE_SCALE


def phases_of(goal: Goal, *, known_at: datetime | None = None) -> list[Phase]:
    """A goal's phases in order; with `known_at`, as they were written by then."""
    rows = [row for row in goal.phases.all() if known_at is None or row.written_at <= known_at]
    last = max((row.ordinal for row in rows), default=0)
    revised_since = any(row.ordinal > last for row in goal.phases.all())
    return [_phase_of(row, still_open=revised_since and row.ordinal == last) for row in rows]


def _phase_of(row: GoalPhase, *, still_open: bool) -> Phase:
    return Phase(
        ordinal=row.ordinal,
        kind=PhaseKind(row.kind),
        starts_on=row.starts_on,
        ends_on=None if still_open else row.ends_on,
        criterion=criterion_of(row),
    )


def criterion_of(row: GoalPhase) -> Criterion | None:
    """The criterion that holds in a phase, or None where it has none."""
    if row.consistency is None:
        return None
    return Criterion(
        clauses=tuple(map(clause_of, row.clauses.all())),
        consistency=_consistency_of(row),
        minimum=MinimumData(
            trials=row.minimum_trials,
            intervals=row.minimum_intervals,
            days=row.minimum_days,
            minutes=row.minimum_minutes,
        ),
        generalization=Generalization(settings=row.settings_needed or 1, partners=row.partners_needed or 1),
    )


def _consistency_of(row: GoalPhase) -> Consistency:
    kind = ConsistencyKind(row.consistency)
    return Consistency(
        kind=kind,
        k=row.needed or 1,
        m=row.window if kind == ConsistencyKind.OF_LAST else None,
        n=row.window if kind == ConsistencyKind.POOLED_VISITS else None,
        days=row.window if kind == ConsistencyKind.POOLED_DAYS else None,
    )


def clause_of(row: ClauseRow) -> Clause:
    """One part of a criterion."""
    return Clause(
        component=MeasureKind(row.component),
        comparison=Comparison(row.comparison),
        value=row.value,
        upper=row.upper_value or None,
        share=row.share or None,
        most_assistance=AssistanceLevel(row.most_assistance) if row.most_assistance else None,
        most_prompting=PromptKind(row.most_prompting) if row.most_prompting else None,
        side_rule=SideRule(row.side_rule) if row.side_rule else None,
        primary=row.primary,
    )


def primary_clauses(goals: Iterable[Goal], day: Any) -> dict[Any, Clause]:
    """The primary clause in force on a day, by goal; one query for all of them."""
    rows = ClauseRow.objects.filter(primary=True, phase__in=GoalPhase.objects.in_force(day).filter(goal__in=goals))
    return {row.phase.goal_id: clause_of(row) for row in rows.select_related("phase")}
