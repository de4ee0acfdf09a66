"""Measurements of one goal put in order of visits, each visit with all that was measured at it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from itertools import groupby

from goals.enums import MeasureKind, PhaseKind
from goals.progress.definitions import GoalSpec, MeasureSpec, Phase
from goals.progress.digest import observation_order
from goals.progress.measured import Measured, further_measured, measured_of
from goals.progress.results import Observation


@dataclass(frozen=True, kw_only=True, slots=True)
class Visit:
    """One visit at which this goal was measured; in a baseline, one probe."""

    day: date
    key: str
    phase: Phase
    measured: dict[MeasureKind, Measured]
    settings: frozenset[str]
    partners: frozenset[str]
    preliminary: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Series:
    """All visits of a goal in order; how many observations hold no number, or lie in no phase."""

    visits: tuple[Visit, ...]
    not_measured: int
    outside_phases: int


def series_of(goal: GoalSpec, phases: Sequence[Phase], observations: Iterable[Observation]) -> Series:
    """The visits of a goal; a reason for nothing measured is absent, never zero.

    Several measurements of one visit are taken together as one; in a baseline each is a value of its own.
    """
    ordered = sorted(observations, key=observation_order)
    measured = [seen for seen in ordered if seen.derived.not_measured is None]
    placed = [(phase, seen) for seen in measured if (phase := phase_on(phases, seen.day)) is not None]
    groups = groupby(placed, key=lambda pair: _visit_key(*pair))
    visits = tuple(_visit(goal, list(group)) for _, group in groups)
    return Series(
        visits=visits,
        not_measured=len(ordered) - len(measured),
        outside_phases=len(measured) - len(placed),
    )


def phase_on(phases: Sequence[Phase], day: date) -> Phase | None:
    """The phase that a day lies in."""
    return next((phase for phase in phases if phase.holds(day)), None)


def _visit_key(phase: Phase, seen: Observation) -> tuple[str, ...]:
    probe = (seen.id,) if phase.kind == PhaseKind.BASELINE else ()
    return (str(seen.day), seen.visit, *probe)


def _visit(goal: GoalSpec, group: Sequence[tuple[Phase, Observation]]) -> Visit:
    phase, first = group[0]
    seen = [observation for _, observation in group]
    measured = {goal.measure.kind: together(goal.measure, [measured_of(goal.measure, one.derived) for one in seen])}
    for spec in goal.components:
        found = [part for one in seen if (part := further_measured(spec, one.derived)) is not None]
        if found:
            measured[spec.kind] = together(spec, found)
    return Visit(
        day=first.day,
        key=first.visit,
        phase=phase,
        measured=measured,
        settings=frozenset(one.setting for one in seen if one.setting),
        partners=frozenset(one.partner for one in seen if one.partner),
        preliminary=any(one.preliminary for one in seen),
    )


def together(spec: MeasureSpec, parts: Sequence[Measured]) -> Measured:
    """Several measurements as one: all their trials, and all the minutes watched."""
    watched = [part.watched for part in parts if part.watched is not None]
    return Measured(
        spec=spec,
        cells=tuple(cell for part in parts for cell in part.cells),
        watched=sum(watched, Fraction(0)) if watched else None,
    )
