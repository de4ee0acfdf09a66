"""One measurement's raw counts turned into numbers, once, when they are signed."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

from goals.enums import Direction, MeasureKind, NotMeasuredReason, PromptKind, VisitValue
from goals.progress.bounds import Bounds
from goals.progress.canonical import as_json
from goals.progress.cells import PROMPT_RANK, Cell, from_parts, gathered, most_help, to_parts
from goals.progress.context import CONTEXT_MEMBERS
from goals.progress.decimals import plain, read_decimal, written
from goals.progress.definitions import PROPORTIONS, Clause, GoalSpec, MeasureSpec
from goals.progress.errors import escaped
from goals.progress.limits import COUNTS, FORMS, MOST_MINUTES, TALLY, TRIALS, VALUE
from goals.progress.results import Derived
from goals.progress.summaries import by_stratum, counts, group_value, visit_value
from goals.progress.trials import (
    read_count,
    read_tally,
    read_trials,
    read_value,
    read_word,
    refused,
    require_members,
)

FORM_MEMBERS = (TRIALS, TALLY, COUNTS, VALUE)
NUMBER_MEMBERS = frozenset({*FORM_MEMBERS, "opportunities", "censored", "watched"})
MEMBERS = NUMBER_MEMBERS | {"components", "not_measured"} | CONTEXT_MEMBERS


@dataclass(frozen=True, kw_only=True, slots=True)
class Measured:
    """What one visit or one measurement holds of one component: its trials, and how long was watched."""

    spec: MeasureSpec
    cells: tuple[Cell, ...]
    watched: Fraction | None = None


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
    form = _form(spec, raw, pointer=pointer)
    watched = _read_watched(spec, raw, pointer=pointer)
    cells = _READERS[form](spec, raw, pointer)
    measured = Measured(spec=spec, cells=gathered(cells), watched=None if watched is None else Fraction(watched))
    value = visit_value(spec, measured.cells, direction=direction, watched=measured.watched, clause=clause)
    if value.unknown:
        raise refused("mixed_censoring", f"{pointer}/{form}", "At least and at most leave no value here.")
    derived = _derived(measured, value, form=form, watched=watched, direction=direction, clause=clause)
    if spec.kind == MeasureKind.PROMPTS and form == TALLY:
        derived.parts["by_prompt"] = {kind: int(n) for kind, n in raw[TALLY].items()}
    return derived


def _form(spec: MeasureSpec, raw: Mapping[str, Any], *, pointer: str) -> str:
    present = [member for member in FORM_MEMBERS if member in raw]
    if not present:
        raise refused("empty", pointer, "Nothing was measured: give trials, a tally, counts, a value or a reason.")
    if len(present) > 1:
        raise refused("two_forms", f"{pointer}/{present[1]}", "A measurement is written down in one form.")
    form = present[0]
    if form not in FORMS[spec.kind]:
        detail = f"A measurement of the kind {spec.kind.value} is not written down like this."
        raise refused("wrong_form", f"{pointer}/{form}", detail)
    if "censored" in raw and form != VALUE:
        raise refused("wrong_form", f"{pointer}/censored", "Only a value is censored.")
    return form


def _read_watched(spec: MeasureSpec, raw: Mapping[str, Any], *, pointer: str) -> Decimal | None:
    if "watched" not in raw:
        if spec.kind == MeasureKind.RATE:
            raise refused("watched_missing", f"{pointer}/watched", "A rate needs the minutes watched.")
        return None
    minutes = read_decimal(raw["watched"])
    if minutes is None:
        raise refused("not_a_number", f"{pointer}/watched", "Minutes are a whole number or a string like 12.5.")
    if not 0 < minutes <= MOST_MINUTES:
        raise refused("out_of_range", f"{pointer}/watched", f"Between 0 and {MOST_MINUTES} minutes are watched.")
    return minutes


def _trials_form(spec: MeasureSpec, raw: Mapping[str, Any], pointer: str) -> list[Cell]:
    cells = read_trials(spec, raw[TRIALS], pointer=f"{pointer}/trials")
    if "opportunities" in raw and read_count(raw["opportunities"], pointer=f"{pointer}/opportunities") != len(cells):
        raise refused("opportunities_differ", f"{pointer}/opportunities", "Each opportunity is one trial.")
    if spec.visit_value == VisitValue.SINGLE and _several_in_one(spec, cells):
        raise refused("single_value", f"{pointer}/trials", "This measure takes one value a visit.")
    return cells


def _several_in_one(spec: MeasureSpec, cells: Sequence[Cell]) -> bool:
    if spec.kind in PROPORTIONS or spec.kind in (MeasureKind.STEPS, MeasureKind.RATE):
        return False
    groups = by_stratum(cells)
    return any(len(group) > 1 for group in groups.values()) if groups else len(cells) > 1


def _tally_form(spec: MeasureSpec, raw: Mapping[str, Any], pointer: str) -> list[Cell]:
    cells = read_tally(spec, raw[TALLY], pointer=f"{pointer}/tally")
    written_down = sum(cell.n for cell in cells)
    if spec.kind == MeasureKind.STEPS:
        _require_steps(spec, written_down, pointer=f"{pointer}/tally")
    if "opportunities" in raw:
        offered = read_count(raw["opportunities"], pointer=f"{pointer}/opportunities")
        if written_down > offered:
            raise refused("more_than_opportunities", f"{pointer}/tally", "More trials than opportunities.")
        if offered > written_down and spec.kind in PROPORTIONS:
            cells.append(Cell(n=offered - written_down, success=False))
    if spec.kind == MeasureKind.PROMPTS:
        return _prompt_cells(cells)
    if not cells:
        raise refused("empty", f"{pointer}/tally", "A tally counts at least one trial.")
    return cells


def _prompt_cells(tallied: Sequence[Cell]) -> list[Cell]:
    given = [cell for cell in tallied if cell.prompt != PromptKind.NONE]
    heaviest = max((cell.prompt for cell in given if cell.prompt), key=PROMPT_RANK.__getitem__, default=None)
    return [Cell(value=Decimal(sum(cell.n for cell in given)), prompt=heaviest)]


def _counts_form(spec: MeasureSpec, raw: Mapping[str, Any], pointer: str) -> list[Cell]:
    successes = read_count(raw[COUNTS], pointer=f"{pointer}/successes")
    if "opportunities" not in raw:
        raise refused("opportunities_missing", f"{pointer}/opportunities", "Successes need their opportunities.")
    offered = read_count(raw["opportunities"], pointer=f"{pointer}/opportunities")
    if offered == 0:
        detail = "No opportunity is a reason for nothing measured, not a zero."
        raise refused("no_opportunity", f"{pointer}/opportunities", detail)
    if successes > offered:
        raise refused("more_than_opportunities", f"{pointer}/successes", "More successes than opportunities.")
    if spec.kind == MeasureKind.STEPS:
        _require_steps(spec, offered, pointer=f"{pointer}/opportunities")
    return _counted_cells(successes, offered)


def _counted_cells(successes: int, offered: int) -> list[Cell]:
    both = (Cell(n=successes, success=True), Cell(n=offered - successes, success=False))
    return [cell for cell in both if cell.n]


def _require_steps(spec: MeasureSpec, count: int, *, pointer: str) -> None:
    if spec.names and count > len(spec.names):
        raise refused("too_many_steps", pointer, f"This task has {len(spec.names)} steps.")


def _value_form(spec: MeasureSpec, raw: Mapping[str, Any], pointer: str) -> list[Cell]:
    if "opportunities" in raw:
        raise refused("wrong_form", f"{pointer}/opportunities", "One value has no opportunities.")
    value, censored = read_value(spec, raw, pointer=pointer)
    return [Cell(value=value, censored=censored)]


_READERS: dict[str, Callable[[MeasureSpec, Mapping[str, Any], str], list[Cell]]] = {
    TRIALS: _trials_form,
    TALLY: _tally_form,
    COUNTS: _counts_form,
    VALUE: _value_form,
}


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
        return Measured(spec=spec, cells=tuple(_counted_cells(successes, counted)), watched=watched)
    number = Decimal(parts["events"]) if spec.kind == MeasureKind.RATE else plain(value or Decimal(0))
    known = from_parts({"n": 1, "value": written(number)} | ({"censored": censored} if censored else {}))
    return Measured(spec=spec, cells=(known,), watched=watched)
