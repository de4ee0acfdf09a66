"""Numbers and days as people say them."""

from datetime import date
from decimal import ROUND_HALF_UP, Decimal

from goals.enums import Bound, Censored, MeasureKind
from goals.progress.decimals import written
from goals.progress.definitions import PROPORTIONS, MeasureSpec

MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip
SMALL = (
    "no", "one", "two", "three", "four", "five", "six",
    "seven", "eight", "nine", "ten", "eleven", "twelve",
)  # fmt: skip


def day_words(day: date) -> str:
    """A day as 31 March 2026."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def number_word(number: int) -> str:
    """Small numbers as words, larger ones as figures."""
    return SMALL[number] if 0 <= number < len(SMALL) else str(number)


def plural(number: int, noun: str) -> str:
    """A count and its noun: 1 visit, 2 visits."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def figure(number: Decimal, places: int = 2) -> str:
    """A number rounded for reading."""
    return written(number.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP))


def percent(number: Decimal) -> str:
    """A part of one as a percentage."""
    return f"{figure(number * 100, 1)} %"


def amount(spec: MeasureSpec, number: Decimal) -> str:
    """A measure's value with its unit."""
    if spec.kind in PROPORTIONS:
        return f"{percent(number)} of {spec.trial_name}"
    if spec.kind == MeasureKind.ORDERED:
        return spec.scale[int(number)].replace("_", " ")
    if spec.kind == MeasureKind.RATING:
        return f"+{figure(number)}" if number > 0 else figure(number)
    if spec.kind == MeasureKind.STEPS:
        return "1 step alone" if number == 1 else f"{figure(number)} steps alone"
    return f"{figure(number)}{unit_words(spec, number)}"


def unit_words(spec: MeasureSpec, number: Decimal) -> str:
    """The unit behind a value, with its space: mm, prompts, in 30 min; things counted lose their s for one."""
    if spec.kind == MeasureKind.RATE:
        return f" in {written(spec.per_minutes)} min"
    if spec.unit == "1":
        return ""
    noun = spec.unit.strip("{}")
    return f" {noun.removesuffix('s')}" if number == 1 and spec.unit.startswith("{") else f" {noun}"


def step_amount(spec: MeasureSpec, number: Decimal) -> str:
    """How much a value moves in a week."""
    if spec.kind in PROPORTIONS:
        return f"{figure(number * 100, 1)} percentage points"
    if spec.kind == MeasureKind.RATE:
        return f"{figure(number)} ({unit_words(spec, number).strip()})"
    return f"{figure(number)}{unit_words(spec, number)}"


def bare_step(spec: MeasureSpec, number: Decimal) -> str:
    """The same without its unit, for the ends of an interval."""
    return figure(number * 100, 1) if spec.kind in PROPORTIONS else figure(number)


def open_words(bound: Bound | Censored | None) -> str:
    """What stands before a number known on one side only."""
    if bound in (Bound.LOWER, Censored.AT_LEAST):
        return "at least "
    return "" if bound is None else "at most "
