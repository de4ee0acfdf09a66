"""Raw counts as a client sends them, read into cells; what cannot be true is refused with its place."""

import re
from collections.abc import Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from enum import StrEnum
from typing import Any, TypeVar

from goals.enums import AssistanceLevel, Censored, MeasureKind, PromptKind, Side, Strata
from goals.progress.cells import Cell
from goals.progress.decimals import read_decimal
from goals.progress.definitions import PROPORTIONS, MeasureSpec
from goals.progress.errors import ImpossibleMeasurement, escaped
from goals.progress.limits import CENSORABLE, MOST_COUNTED, MOST_NAME, MOST_TRIALS, require_possible

TRIAL_MEMBERS = frozenset({"success", "value", "assistance", "prompt", "side", "exemplar", "step", "censored", "at"})
SUCCESS, FAILURE = "success", "failure"
MOST_NAMED = 12
EARLIEST_YEAR, LATEST_YEAR = 1990, 2100
_INSTANT = re.compile(r"\d{4}-\d\d-\d\d[Tt]\d\d:\d\d:\d\d(\.\d{1,6})?(?P<offset>[Zz]|[+-]\d\d:\d\d)?", re.ASCII)
Word = TypeVar("Word", bound=StrEnum)


def refused(code: str, pointer: str, detail: str) -> ImpossibleMeasurement:
    """The refusal of a measurement, with its place in the input."""
    return ImpossibleMeasurement(code, pointer=pointer, detail=detail)


def read_trials(spec: MeasureSpec, trials: Any, *, pointer: str) -> list[Cell]:
    """Each trial as a cell of one."""
    if not isinstance(trials, Sequence) or isinstance(trials, (str, bytes)):
        raise refused("wrong_type", pointer, "Trials are a list.")
    if not trials:
        raise refused("empty", pointer, "A list of trials has at least one; give a reason if nothing was measured.")
    if len(trials) > MOST_TRIALS:
        raise refused("too_many_trials", pointer, f"A measurement has at most {MOST_TRIALS} trials.")
    cells = [_read_trial(spec, trial, pointer=f"{pointer}/{place}") for place, trial in enumerate(trials)]
    if spec.kind == MeasureKind.STEPS:
        _require_each_step_once(cells, pointer=pointer)
    return cells


def _read_trial(spec: MeasureSpec, trial: Any, *, pointer: str) -> Cell:
    require_members(trial, TRIAL_MEMBERS, pointer=pointer)
    if "at" in trial:
        read_instant(trial["at"], pointer=f"{pointer}/at")
    helped = read_word(AssistanceLevel, trial, "assistance", pointer=pointer)
    prompted = read_word(PromptKind, trial, "prompt", pointer=pointer)
    stratum = _read_stratum(spec, trial, pointer=pointer)
    if spec.kind in PROPORTIONS or spec.kind == MeasureKind.STEPS:
        success = _read_success(spec, trial, helped, pointer=pointer)
        return Cell(success=success, stratum=stratum, assistance=helped, prompt=prompted)
    if "success" in trial:
        raise refused("wrong_form", f"{pointer}/success", f"A trial of the kind {spec.kind.value} has a value.")
    value, censored = read_value(spec, trial, pointer=pointer)
    return Cell(value=value, censored=censored, stratum=stratum, assistance=helped, prompt=prompted)


def _read_success(
    spec: MeasureSpec, trial: Mapping[str, Any], helped: AssistanceLevel | None, *, pointer: str
) -> bool | None:
    if "value" in trial or "censored" in trial:
        raise refused("wrong_form", f"{pointer}/value", f"A trial of the kind {spec.kind.value} has no value.")
    if spec.kind == MeasureKind.STEPS and "success" not in trial and helped is not None:
        return None
    if not isinstance(trial.get("success"), bool):
        raise refused("wrong_type", f"{pointer}/success", "Success is true or false.")
    return bool(trial["success"])


def read_value(spec: MeasureSpec, raw: Mapping[str, Any], *, pointer: str) -> tuple[Decimal, Censored | None]:
    """The value of a trial, or of a measurement with one value, and whether it is censored."""
    if "value" not in raw:
        raise refused("empty", f"{pointer}/value", "A value is needed.")
    number = _read_rank(spec, raw["value"]) if spec.kind == MeasureKind.ORDERED else read_decimal(raw["value"])
    if number is None:
        raise refused("not_a_number", f"{pointer}/value", _number_wanted(spec))
    if spec.kind != MeasureKind.ORDERED:
        require_possible(number, spec=spec, pointer=f"{pointer}/value")
    censored = read_word(Censored, raw, "censored", pointer=pointer)
    if censored is not None and spec.kind not in CENSORABLE:
        detail = f"A value of the kind {spec.kind.value} cannot be censored."
        raise refused("wrong_form", f"{pointer}/censored", detail)
    return number, censored


def _read_rank(spec: MeasureSpec, text: Any) -> Decimal | None:
    if isinstance(text, str) and text in spec.scale:
        return Decimal(spec.scale.index(text))
    number = read_decimal(text)
    known = number is not None and number == number.to_integral_value() and 0 <= number < len(spec.scale)
    return number if known else None


def _number_wanted(spec: MeasureSpec) -> str:
    if spec.kind == MeasureKind.ORDERED:
        return f"The value is a level, by name or by its place from 0: {_in_words(spec.scale)}."
    return "A number is a whole number or a string like 12.5: no NaN, infinity or exponent, at most 12 places."


def _read_stratum(spec: MeasureSpec, trial: Mapping[str, Any], *, pointer: str) -> str | None:
    side = read_word(Side, trial, "side", pointer=pointer)
    exemplar = _read_name(trial, "exemplar", pointer=pointer)
    step = _read_name(trial, "step", pointer=pointer)
    told_by = Strata.STEP if spec.kind == MeasureKind.STEPS else spec.strata
    if told_by == Strata.NONE:
        return None
    found = {Strata.SIDE: side, Strata.EXEMPLAR: exemplar, Strata.STEP: step}[told_by]
    if found is None:
        detail = f"Each trial of this measure names its {told_by.value}."
        raise refused("stratum_missing", f"{pointer}/{told_by.value}", detail)
    if spec.names and found not in spec.names:
        detail = f"This measure has no {told_by.value} of that name; known are: {_in_words(spec.names)}."
        raise refused("unknown_stratum", f"{pointer}/{told_by.value}", detail)
    return str(found)


def _read_name(trial: Mapping[str, Any], member: str, *, pointer: str) -> str | None:
    if member not in trial:
        return None
    name = trial[member]
    if not isinstance(name, str) or not 1 <= len(name) <= MOST_NAME or not name.isprintable():
        detail = f"A name is 1 to {MOST_NAME} printable characters."
        raise refused("not_a_name", f"{pointer}/{member}", detail)
    return name


def _require_each_step_once(cells: Sequence[Cell], *, pointer: str) -> None:
    seen: set[str | None] = set()
    for place, cell in enumerate(cells):
        if cell.stratum in seen:
            raise refused("step_twice", f"{pointer}/{place}/step", "Each step is written down once.")
        seen.add(cell.stratum)


def read_tally(spec: MeasureSpec, tally: Any, *, pointer: str) -> list[Cell]:
    """A tally by level of assistance, prompt kind, success or failure, as cells."""
    if not isinstance(tally, Mapping):
        raise refused("wrong_type", pointer, "A tally is an object of counts.")
    if not tally:
        raise refused("empty", pointer, "A tally has at least one entry.")
    cells = [_tally_cell(spec, key, n, pointer=f"{pointer}/{escaped(key)}") for key, n in tally.items()]
    cells = [cell for cell in cells if cell.n]
    if sum(cell.n for cell in cells) > MOST_COUNTED:
        raise refused("too_large", pointer, f"A tally counts at most {MOST_COUNTED} trials.")
    return cells


def _tally_cell(spec: MeasureSpec, key: Any, n: Any, *, pointer: str) -> Cell:
    count = read_count(n, pointer=pointer)
    if key in set(AssistanceLevel) and spec.kind != MeasureKind.PROMPTS:
        return Cell(n=count, assistance=AssistanceLevel(key))
    if key in set(PromptKind) and spec.kind != MeasureKind.STEPS:
        return Cell(n=count, prompt=PromptKind(key))
    if key in (SUCCESS, FAILURE) and spec.kind in PROPORTIONS:
        return Cell(n=count, success=key == SUCCESS)
    raise refused("unknown_level", pointer, f"A tally of the kind {spec.kind.value} has: {', '.join(_entries(spec))}.")


def _entries(spec: MeasureSpec) -> list[str]:
    """What this kind's tally may count."""
    found: list[str] = []
    if spec.kind in PROPORTIONS:
        found += [SUCCESS, FAILURE]
    if spec.kind != MeasureKind.PROMPTS:
        found += AssistanceLevel
    if spec.kind != MeasureKind.STEPS:
        found += PromptKind
    return [str(entry) for entry in found]


def _in_words(names: Sequence[str]) -> str:
    """The first of these names, since a scale may have many."""
    shown = ", ".join(names[:MOST_NAMED])
    return f"{shown}, and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else shown


def read_count(number: Any, *, pointer: str) -> int:
    """A count: whole, not negative, not absurd."""
    value = read_decimal(number)
    if value is None or value != value.to_integral_value():
        raise refused("not_whole", pointer, "A count is a whole number.")
    if value < 0:
        raise refused("negative", pointer, "A count cannot be negative.")
    if value > MOST_COUNTED:
        raise refused("too_large", pointer, f"A count is at most {MOST_COUNTED}.")
    return int(value)


def read_word(words: type[Word], raw: Mapping[str, Any], member: str, *, pointer: str) -> Word | None:
    """A member that must be one of a list of words, or None when it is absent."""
    if member not in raw:
        return None
    try:
        return words(raw[member])
    except (ValueError, TypeError):
        allowed = ", ".join(word.value for word in words)
        raise refused("unknown_word", f"{pointer}/{member}", f"This is one of: {allowed}.") from None


def read_instant(text: Any, *, pointer: str) -> datetime:
    """An RFC 3339 time with its offset."""
    if not isinstance(text, str) or not (match := _INSTANT.fullmatch(text)):
        raise refused("not_a_time", pointer, "A time is written like 2026-03-03T09:05:00Z.")
    if match["offset"] is None:
        raise refused("naive_time", pointer, "A time needs its offset from UTC.")
    try:
        instant = datetime.fromisoformat(text.upper())
    except ValueError:
        raise refused("not_a_time", pointer, "There is no such day or hour.") from None
    if not EARLIEST_YEAR <= instant.year <= LATEST_YEAR:
        raise refused("out_of_range", pointer, f"Years are {EARLIEST_YEAR} to {LATEST_YEAR}.")
    return instant


def require_members(raw: Any, allowed: frozenset[str], *, pointer: str) -> None:
    """Refuse what is no object, and members that nobody reads."""
    if not isinstance(raw, Mapping):
        raise refused("wrong_type", pointer, "An object is needed.")
    for member in raw:
        if member not in allowed:
            known = ", ".join(sorted(allowed))
            raise refused(
                "unknown_member", f"{pointer}/{escaped(member)}", f"This is not known here; known are: {known}."
            )
