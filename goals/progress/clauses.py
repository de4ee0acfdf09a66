"""One clause held against what was measured at one visit: the value that decides it, and whether it is satisfied."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from goals.enums import Comparison, Direction, MeasureKind, Side, SideRule, Strata
from goals.progress.bounds import Bounds, nth_best, observed, satisfies
from goals.progress.cells import Cell, within_caps
from goals.progress.criteria import share_of, target_of
from goals.progress.definitions import PROPORTIONS, Clause, GoalSpec
from goals.progress.measured import Measured
from goals.progress.summaries import by_stratum, counts, group_value, visit_value


@dataclass(frozen=True, kw_only=True, slots=True)
class Decision:
    """The value that decides a clause at one visit, with its counts where it is a proportion."""

    value: Bounds | None
    satisfied: bool
    successes: int | None = None
    counted: int | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class _Unit:
    """What a clause looks at: the whole visit, one side, one exemplar, one trial."""

    name: str | None
    value: Bounds
    within_caps: bool


NOT_SHOWN = Decision(value=None, satisfied=False)


def decide(goal: GoalSpec, clause: Clause, measured: Measured | None) -> Decision:
    """Whether a visit shows a clause to be satisfied; what was not measured is not shown."""
    if measured is None:
        return NOT_SHOWN
    units = _units(goal, clause, measured)
    good = [unit for unit in units if unit.within_caps and _stands(clause, unit.value, measured)]
    value = _deciding_value(goal, clause, measured, units)
    successes, counted = _plain_counts(clause, measured)
    return Decision(
        value=value,
        satisfied=_enough(clause, measured, units=units, good=good),
        successes=successes,
        counted=counted,
    )


def direction_of(goal: GoalSpec, kind: MeasureKind) -> Direction:
    """Which way a component's numbers are ordered; a further component has no direction of its own."""
    return goal.direction if kind == goal.measure.kind else Direction.INCREASE


def _units(goal: GoalSpec, clause: Clause, measured: Measured) -> list[_Unit]:
    if clause.side_rule is None and clause.share is None:
        return [_whole_visit(goal, clause, measured)]
    if measured.spec.strata == Strata.NONE:
        return [_trial_unit(clause, cell) for cell in measured.cells for _ in range(cell.n)]
    return [_unit(goal, clause, measured, name=name, cells=cells) for name, cells in by_stratum(measured.cells).items()]


def _whole_visit(goal: GoalSpec, clause: Clause, measured: Measured) -> _Unit:
    value = visit_value(
        measured.spec,
        measured.cells,
        direction=direction_of(goal, clause.component),
        watched=measured.watched,
        clause=clause,
    )
    return _Unit(name=None, value=value, within_caps=caps_kept(clause, measured, measured.cells))


def _unit(goal: GoalSpec, clause: Clause, measured: Measured, *, name: str, cells: Sequence[Cell]) -> _Unit:
    value = group_value(
        measured.spec,
        cells,
        direction=direction_of(goal, clause.component),
        watched=measured.watched,
        clause=clause,
    )
    return _Unit(name=name, value=value, within_caps=caps_kept(clause, measured, cells))


def _trial_unit(clause: Clause, cell: Cell) -> _Unit:
    return _Unit(name=None, value=observed(cell.value or 0, cell.censored), within_caps=_cell_capped(clause, cell))


def caps_kept(clause: Clause, measured: Measured, cells: Sequence[Cell]) -> bool:
    """Whether help stayed within the caps; a proportion's caps choose its successes instead."""
    if measured.spec.kind in PROPORTIONS:
        return True
    if measured.spec.kind == MeasureKind.STEPS:
        return all(_step_capped(clause, cell) for cell in cells)
    return all(_cell_capped(clause, cell) for cell in cells)


def _step_capped(clause: Clause, cell: Cell) -> bool:
    """A step's help must be written down to be within a cap; no step is a tally's success."""
    if clause.most_assistance is not None and cell.assistance is None:
        return False
    return _cell_capped(clause, replace(cell, success=True))


def _cell_capped(clause: Clause, cell: Cell) -> bool:
    return within_caps(cell, most_assistance=clause.most_assistance, most_prompting=clause.most_prompting)


def _stands(clause: Clause, value: Bounds, measured: Measured) -> bool:
    target = target_of(measured.spec, clause.value)
    if target is None:
        return False
    upper = target_of(measured.spec, clause.upper)
    return satisfies(value, clause.comparison, target=target, upper=upper)


def _enough(clause: Clause, measured: Measured, *, units: Sequence[_Unit], good: Sequence[_Unit]) -> bool:
    names = {unit.name for unit in good}
    if clause.side_rule == SideRule.EACH:
        return names >= set(Side)
    if clause.side_rule == SideRule.EITHER:
        return bool(good)
    if clause.side_rule is not None:
        return clause.side_rule.value in names
    return bool(units) and len(good) >= _wanted(clause, measured, units)


def _wanted(clause: Clause, measured: Measured, units: Sequence[_Unit]) -> int:
    if clause.share is None:
        return 1
    known = len(measured.spec.names) if measured.spec.strata != Strata.NONE else 0
    return share_of(clause.share, max(known, len(units)))


def _deciding_value(goal: GoalSpec, clause: Clause, measured: Measured, units: Sequence[_Unit]) -> Bounds | None:
    """The value on which the clause turns: the weaker side, the second-best food, or the visit's own."""
    if clause.side_rule is None and clause.share is None:
        return units[0].value
    if clause.comparison == Comparison.WITHIN:
        return _whole_visit(goal, clause, measured).value
    nth = _turning_place(clause, measured, units)
    values = [unit.value for unit in units if clause.side_rule not in _ONE_SIDE or unit.name == clause.side_rule]
    if not 1 <= nth <= len(values):
        return None
    return nth_best(values, nth, higher_is_better=clause.comparison == Comparison.AT_LEAST)


_ONE_SIDE = (SideRule.LEFT, SideRule.RIGHT)


def _turning_place(clause: Clause, measured: Measured, units: Sequence[_Unit]) -> int:
    if clause.side_rule == SideRule.EACH:
        return len(Side)
    if clause.side_rule is not None:
        return 1
    return _wanted(clause, measured, units)


def _plain_counts(clause: Clause, measured: Measured) -> tuple[int | None, int | None]:
    if clause.side_rule is not None or clause.share is not None:
        return None, None
    if measured.spec.kind in PROPORTIONS or measured.spec.kind == MeasureKind.STEPS:
        return counts(measured.spec, measured.cells, clause)
    return None, None
