"""One measurement's raw counts turned into numbers, once, when they are signed."""

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Any

from goals.enums import Direction, MeasureKind, NotMeasuredReason
from goals.progress.bounds import Bounds
from goals.progress.canonical import as_json
from goals.progress.cells import Cell, gathered, most_help, to_parts
from goals.progress.context import CONTEXT_MEMBERS
from goals.progress.decimals import written
from goals.progress.definitions import PROPORTIONS, Clause, GoalSpec, MeasureSpec
from goals.progress.errors import escaped
from goals.progress.forms import FORM_MEMBERS, cells_of, form_of, read_watched
from goals.progress.limits import TALLY, TRIALS
from goals.progress.measured import Measured
from goals.progress.results import Derived
from goals.progress.summaries import by_stratum, counts, group_value, visit_value
from goals.progress.trials import read_count, read_word, refused, require_members

NUMBER_MEMBERS = frozenset({*FORM_MEMBERS, "opportunities", "censored", "watched"})
MEMBERS = NUMBER_MEMBERS | {"components", "not_measured"} | CONTEXT_MEMBERS


def derive(goal: GoalSpec, raw: Any, *, primary: Clause | None = None) -> Derived:
    """The numbers of one measurement as a client sent it; refuses with ImpossibleMeasurement.

    Successes of an accuracy are those within the caps of `primary`, the clause in force on the day.
    """
    require_members(raw, MEMBERS, pointer="")
    reason = read_word(NotMeasuredReason, raw, "not_measured", pointer="")
    if reason is not None:
        return _nothing_measured(raw, reason)
    own = _derive_component(goal.measure, raw, direction=goal.direction, clause=primary, pointer="")
    further = _derive_further(goal, raw.get("components", {}))
    if not further:
        return own
    return Derived(
        successes=own.successes,
        counted=own.counted,
        value=own.value,
        censored=own.censored,
        parts={**own.parts, "components": further},
    )


def _nothing_measured(raw: Mapping[str, Any], reason: NotMeasuredReason) -> Derived:
    for member in (*sorted(NUMBER_MEMBERS), "components"):
        if member in raw:
            raise refused("measured_and_not", f"/{member}", "A reason for nothing measured stands without numbers.")
    return Derived(not_measured=reason)


def _derive_further(goal: GoalSpec, components: Any) -> dict[str, Any]:
    if not isinstance(components, Mapping):
        raise refused("wrong_type", "/components", "Components are an object by kind.")
    found = {}
    for kind, raw in components.items():
        pointer = f"/components/{escaped(kind)}"
        spec = next((spec for spec in goal.components if spec.kind == kind), None)
        if spec is None:
            raise refused("unknown_component", pointer, "This goal has no such component.")
        require_members(raw, NUMBER_MEMBERS, pointer=pointer)
        derived = _derive_component(spec, raw, direction=Direction.INCREASE, clause=None, pointer=pointer)
        found[str(spec.kind)] = _component_parts(derived)
    return found


def _component_parts(derived: Derived) -> dict[str, Any]:
    columns = {
        "successes": derived.successes,
        "counted": derived.counted,
        "value": derived.value,
        "censored": derived.censored,
    }
    present = {name: as_json(value) for name, value in columns.items() if value is not None}
    return present | derived.parts


def _derive_component(
    spec: MeasureSpec, raw: Mapping[str, Any], *, direction: Direction, clause: Clause | None, pointer: str
) -> Derived:
    form = form_of(spec, raw, pointer=pointer)
    watched = read_watched(spec, raw, pointer=pointer)
    cells = cells_of(form, spec, raw, pointer=pointer)
    measured = Measured(spec=spec, cells=gathered(cells), watched=None if watched is None else Fraction(watched))
    value = visit_value(spec, measured.cells, direction=direction, watched=measured.watched, clause=clause)
    if value.unknown:
        raise refused("mixed_censoring", f"{pointer}/{form}", "At least and at most leave no value here.")
    derived = _derived(measured, value, form=form, watched=watched, direction=direction, clause=clause)
    if spec.kind == MeasureKind.PROMPTS and form == TALLY:
        derived.parts["by_prompt"] = {kind: read_count(n, pointer=pointer) for kind, n in raw[TALLY].items()}
    return derived


def _derived(
    measured: Measured,
    value: Bounds,
    *,
    form: str,
    watched: Decimal | None,
    direction: Direction,
    clause: Clause | None,
) -> Derived:
    spec, cells = measured.spec, measured.cells
    counted_kind = spec.kind in PROPORTIONS or spec.kind == MeasureKind.STEPS
    successes, counted = counts(spec, cells, clause)
    parts: dict[str, Any] = {}
    if watched is not None:
        parts["watched"] = written(watched)
    if spec.kind == MeasureKind.RATE:
        parts["events"] = written(sum((cell.n * cell.value for cell in cells if cell.value), Decimal(0)))
    if form in (TRIALS, TALLY):
        parts |= _told_apart(measured, direction=direction, clause=clause)
    if spec.kind == MeasureKind.STEPS:
        parts["steps_alone"] = successes
    if spec.kind == MeasureKind.ORDERED:
        parts["name"] = spec.scale[int(value.known)]
    return Derived(
        successes=successes if counted_kind else None,
        counted=None if spec.kind == MeasureKind.RATE else counted,
        value=value.decimal(),
        censored=value.censored,
        parts=parts,
    )


def _told_apart(measured: Measured, *, direction: Direction, clause: Clause | None) -> dict[str, Any]:
    cells = measured.cells
    parts: dict[str, Any] = {"cells": [to_parts(cell) for cell in cells]}
    for name, member in (("by_assistance", "assistance"), ("by_prompt", "prompt")):
        found: dict[str, int] = {}
        for cell in cells:
            if (word := getattr(cell, member)) is not None:
                found[str(word)] = found.get(str(word), 0) + cell.n
        if found and measured.spec.kind != MeasureKind.PROMPTS:
            parts[name] = found
    if (lowest := most_help(cells)) is not None:
        parts["lowest"] = str(lowest)
    if groups := by_stratum(cells):
        parts["strata"] = {
            name: _stratum_parts(measured, group, direction=direction, clause=clause) for name, group in groups.items()
        }
    return parts


def _stratum_parts(
    measured: Measured, cells: list[Cell], *, direction: Direction, clause: Clause | None
) -> dict[str, Any]:
    spec = measured.spec
    if spec.kind in PROPORTIONS:
        successes, counted = counts(spec, cells, clause)
        return {"successes": successes, "counted": counted}
    if spec.kind == MeasureKind.STEPS:
        lowest = most_help(cells)
        return {"alone": counts(spec, cells, clause)[0]} | ({"assistance": str(lowest)} if lowest else {})
    value = group_value(spec, cells, direction=direction, watched=measured.watched)
    found: dict[str, Any] = {"value": None if value.unknown else written(value.decimal())}
    if value.censored:
        found["censored"] = str(value.censored)
    if spec.kind == MeasureKind.ORDERED:
        found["name"] = spec.scale[int(value.known)]
    return found
