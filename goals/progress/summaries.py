"""From cells to numbers: proportions within caps, steps done alone, values and ranks by stratum and by visit."""

from collections.abc import Sequence
from fractions import Fraction

from goals.enums import Direction, MeasureKind, VisitValue
from goals.progress.bounds import Bounds, exactly, mean, median, middle_rank, nth_best, observed, times, total
from goals.progress.cells import ASSISTANCE_RANK, Cell, within_caps
from goals.progress.definitions import PROPORTIONS, Clause, MeasureSpec


def rises(direction: Direction) -> bool:
    """Whether a higher number is the better one."""
    return direction != Direction.DECREASE


def counts(spec: MeasureSpec, cells: Sequence[Cell], clause: Clause | None) -> tuple[int, int]:
    """Successes and trials; for steps, those done alone and those written down."""
    good = sum(cell.n for cell in cells if succeeded(spec, cell, clause))
    return good, sum(cell.n for cell in cells)


def succeeded(spec: MeasureSpec, cell: Cell, clause: Clause | None) -> bool:
    """Whether trials are successes: done, and with no more help than the clause's caps allow."""
    if cell.success is False:
        return False
    if spec.kind == MeasureKind.STEPS:
        return cell.assistance is None or ASSISTANCE_RANK[cell.assistance] <= ASSISTANCE_RANK[spec.alone_at]
    return within_caps(
        cell,
        most_assistance=clause.most_assistance if clause else None,
        most_prompting=clause.most_prompting if clause else None,
    )


def by_stratum(cells: Sequence[Cell]) -> dict[str, list[Cell]]:
    """The cells of each side, exemplar or step, in the order they were first seen."""
    groups: dict[str, list[Cell]] = {}
    for cell in cells:
        if cell.stratum is not None:
            groups.setdefault(cell.stratum, []).append(cell)
    return groups


def group_value(
    spec: MeasureSpec,
    cells: Sequence[Cell],
    *,
    direction: Direction,
    watched: Fraction | None,
    clause: Clause | None = None,
) -> Bounds:
    """The value of trials taken together."""
    if spec.kind in PROPORTIONS:
        good, counted = counts(spec, cells, clause)
        return exactly(Fraction(good, counted))
    if spec.kind == MeasureKind.STEPS:
        return exactly(counts(spec, cells, clause)[0])
    if spec.kind == MeasureKind.RATE:
        events = total(_values(cells))
        return times(events, Fraction(spec.per_minutes) / (watched or Fraction(1)))
    return _combined(spec, _values(cells), direction)


def visit_value(
    spec: MeasureSpec,
    cells: Sequence[Cell],
    *,
    direction: Direction,
    watched: Fraction | None,
    clause: Clause | None = None,
) -> Bounds:
    """The visit's value; where strata are told apart, the middle one of theirs."""
    groups = by_stratum(cells)
    if not groups or spec.kind in PROPORTIONS or spec.kind in (MeasureKind.STEPS, MeasureKind.RATE):
        return group_value(spec, cells, direction=direction, watched=watched, clause=clause)
    values = [group_value(spec, group, direction=direction, watched=watched) for group in groups.values()]
    if spec.kind == MeasureKind.ORDERED:
        return middle_rank(values, higher_is_better=rises(direction))
    return median(values)


def _values(cells: Sequence[Cell]) -> list[Bounds]:
    return [observed(cell.value, cell.censored) for cell in cells for _ in range(cell.n) if cell.value is not None]


def _combined(spec: MeasureSpec, values: list[Bounds], direction: Direction) -> Bounds:
    ranked = spec.kind in (MeasureKind.ORDERED, MeasureKind.RATING)
    if len(values) == 1 or spec.visit_value in (VisitValue.SINGLE, VisitValue.LAST):
        return values[-1]
    if spec.visit_value == VisitValue.BEST:
        return nth_best(values, 1, higher_is_better=rises(direction))
    if spec.visit_value == VisitValue.SUM:
        return total(values)
    if spec.visit_value == VisitValue.MEAN:
        return mean(values)
    return middle_rank(values, higher_is_better=rises(direction)) if ranked else median(values)
