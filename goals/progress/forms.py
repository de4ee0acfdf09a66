"""The forms in which a measurement may be written down: trials, a tally, plain counts, or one value."""

from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from goals.enums import MeasureKind, PromptKind, Strata, VisitValue
from goals.progress.cells import PROMPT_RANK, Cell
from goals.progress.decimals import read_decimal
from goals.progress.definitions import PROPORTIONS, MeasureSpec
from goals.progress.limits import COUNTS, FORMS, MOST_MINUTES, TALLY, TRIALS, VALUE
from goals.progress.measured import counted_cells
from goals.progress.summaries import by_stratum
from goals.progress.trials import read_count, read_tally, read_trials, read_value, refused

FORM_MEMBERS = (TRIALS, TALLY, COUNTS, VALUE)
_WRITTEN = {TRIALS: "trials", TALLY: "a tally", COUNTS: "successes and opportunities", VALUE: "a value"}


def form_of(spec: MeasureSpec, raw: Mapping[str, Any], *, pointer: str) -> str:
    """The one form that a measurement is in, if its kind is written down like that."""
    present = [member for member in FORM_MEMBERS if member in raw]
    if not present:
        raise refused(
            "empty",
            pointer,
            "Nothing was measured: give trials, a tally, successes and opportunities, a value, or not_measured.",
        )
    if len(present) > 1:
        raise refused("two_forms", f"{pointer}/{present[1]}", "A measurement is written down in one form.")
    form = present[0]
    if form not in FORMS[spec.kind]:
        known = " or ".join(_WRITTEN[member] for member in FORM_MEMBERS if member in FORMS[spec.kind])
        detail = f"The kind {spec.kind.value} is written down as {known}."
        raise refused("wrong_form", f"{pointer}/{form}", detail)
    if "censored" in raw and form != VALUE:
        raise refused("wrong_form", f"{pointer}/censored", "Only a value is censored.")
    return form


def cells_of(form: str, spec: MeasureSpec, raw: Mapping[str, Any], *, pointer: str) -> list[Cell]:
    """The trials of a measurement written down in one form."""
    return _READERS[form](spec, raw, pointer)


def read_watched(spec: MeasureSpec, raw: Mapping[str, Any], *, pointer: str) -> Decimal | None:
    """The minutes watched; a rate cannot do without."""
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
        detail = "No opportunity is no zero: send not_measured with no_opportunity instead."
        raise refused("no_opportunity", f"{pointer}/opportunities", detail)
    if successes > offered:
        raise refused("more_than_opportunities", f"{pointer}/successes", "More successes than opportunities.")
    if spec.kind == MeasureKind.STEPS:
        _require_steps(spec, offered, pointer=f"{pointer}/opportunities")
    return counted_cells(successes, offered)


def _require_steps(spec: MeasureSpec, count: int, *, pointer: str) -> None:
    if spec.names and count > len(spec.names):
        raise refused("too_many_steps", pointer, f"This task has {len(spec.names)} steps.")


def _value_form(spec: MeasureSpec, raw: Mapping[str, Any], pointer: str) -> list[Cell]:
    if "opportunities" in raw:
        raise refused("wrong_form", f"{pointer}/opportunities", "One value has no opportunities.")
    if spec.strata in (Strata.SIDE, Strata.EXEMPLAR):
        detail = f"This measure tells each {spec.strata.value} apart: write trials, each with its {spec.strata.value}."
        raise refused("stratum_missing", f"{pointer}/value", detail)
    value, censored = read_value(spec, raw, pointer=pointer)
    return [Cell(value=value, censored=censored)]


_READERS: dict[str, Callable[[MeasureSpec, Mapping[str, Any], str], list[Cell]]] = {
    TRIALS: _trials_form,
    TALLY: _tally_form,
    COUNTS: _counts_form,
    VALUE: _value_form,
}
