"""What was measured of one component, read back from derived numbers as far as they were told apart."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

from goals.enums import MeasureKind
from goals.progress.cells import Cell, from_parts
from goals.progress.decimals import plain, written
from goals.progress.definitions import MeasureSpec
from goals.progress.results import Derived


@dataclass(frozen=True, kw_only=True, slots=True)
class Measured:
    """What one visit or one measurement holds of one component: its trials, and how long was watched."""

    spec: MeasureSpec
    cells: tuple[Cell, ...]
    watched: Fraction | None = None


def counted_cells(successes: int, offered: int) -> list[Cell]:
    """A plain count as trials: so many successes, and the rest not."""
    both = (Cell(n=successes, success=True), Cell(n=offered - successes, success=False))
    return [cell for cell in both if cell.n]


def measured_of(spec: MeasureSpec, derived: Derived) -> Measured:
    """The trials behind derived numbers, as far as they were told apart."""
    return _measured(
        spec,
        successes=derived.successes,
        counted=derived.counted,
        value=derived.value,
        censored=derived.censored,
        parts=derived.parts,
    )


def further_measured(spec: MeasureSpec, derived: Derived) -> Measured | None:
    """The trials of a further component, or None where it was not measured."""
    parts = derived.parts.get("components", {}).get(str(spec.kind))
    if parts is None:
        return None
    return _measured(
        spec,
        successes=parts.get("successes"),
        counted=parts.get("counted"),
        value=Decimal(parts["value"]),
        censored=parts.get("censored"),
        parts=parts,
    )


def _measured(
    spec: MeasureSpec,
    *,
    successes: int | None,
    counted: int | None,
    value: Decimal | None,
    censored: Any,
    parts: Mapping[str, Any],
) -> Measured:
    watched = Fraction(parts["watched"]) if "watched" in parts else None
    if "cells" in parts:
        return Measured(spec=spec, cells=tuple(map(from_parts, parts["cells"])), watched=watched)
    if successes is not None and counted is not None:
        return Measured(spec=spec, cells=tuple(counted_cells(successes, counted)), watched=watched)
    number = Decimal(parts["events"]) if spec.kind == MeasureKind.RATE else plain(value or Decimal(0))
    known = from_parts({"n": 1, "value": written(number)} | ({"censored": censored} if censored else {}))
    return Measured(spec=spec, cells=(known,), watched=watched)
