"""What a measurement may hold: the forms of each kind, and sizes beyond which a number is a slip of the pen."""

from decimal import Decimal

from goals.enums import MeasureKind as Kind
from goals.progress.definitions import SECONDS_IN, MeasureSpec
from goals.progress.errors import ImpossibleMeasurement

MOST_TRIALS = 2_000
MOST_COUNTED = 100_000
MOST_MINUTES = Decimal(10_080)
MOST_NAME = 100

TRIALS, TALLY, COUNTS, VALUE = "trials", "tally", "successes", "value"
FORMS: dict[Kind, frozenset[str]] = {
    Kind.ACCURACY: frozenset({TRIALS, TALLY, COUNTS}),
    Kind.INTERVAL: frozenset({TRIALS, COUNTS}),
    Kind.STEPS: frozenset({TRIALS, TALLY, COUNTS}),
    Kind.PROMPTS: frozenset({TRIALS, TALLY, VALUE}),
    Kind.DURATION: frozenset({TRIALS, VALUE}),
    Kind.LATENCY: frozenset({TRIALS, VALUE}),
    Kind.RATE: frozenset({TRIALS, VALUE}),
    Kind.QUANTITY: frozenset({TRIALS, VALUE}),
    Kind.ORDERED: frozenset({TRIALS, VALUE}),
    Kind.RATING: frozenset({VALUE}),
    Kind.SCORE: frozenset({VALUE}),
}
CENSORABLE = frozenset({Kind.DURATION, Kind.LATENCY, Kind.RATE, Kind.PROMPTS, Kind.QUANTITY})
_MOST = {Kind.RATE: 100_000, Kind.PROMPTS: 10_000, Kind.QUANTITY: 10**9, Kind.SCORE: 100_000, Kind.RATING: 2}
_SIGNED = frozenset({Kind.QUANTITY, Kind.SCORE, Kind.RATING})
_WEEK_IN_SECONDS = 604_800


def counts_things(spec: MeasureSpec) -> bool:
    """Whether the measure's raw numbers are whole and not negative: prompts, events, things counted."""
    if spec.kind == Kind.QUANTITY:
        return spec.unit == "1" or spec.unit.startswith("{")
    return spec.kind in (Kind.RATE, Kind.PROMPTS)


def require_possible(number: Decimal, *, spec: MeasureSpec, pointer: str) -> None:
    """Refuse a raw number that its kind cannot have."""
    if number < 0 and (spec.kind not in _SIGNED or counts_things(spec)):
        raise ImpossibleMeasurement("negative", pointer=pointer, detail=f"{_noun(spec)} cannot be negative.")
    if (counts_things(spec) or spec.kind == Kind.RATING) and number != number.to_integral_value():
        raise ImpossibleMeasurement("not_whole", pointer=pointer, detail=f"{_noun(spec)} must be a whole number.")
    most = most_of(spec)
    if abs(number) > most:
        detail = f"{_noun(spec)} may be at most {most}{_unit(spec)}."
        raise ImpossibleMeasurement("too_large", pointer=pointer, detail=detail)


def most_of(spec: MeasureSpec) -> int:
    """The largest number that a kind takes; a time lasts a week at most."""
    if spec.kind in (Kind.DURATION, Kind.LATENCY):
        return _WEEK_IN_SECONDS // SECONDS_IN[spec.unit]
    return _MOST[spec.kind]


def _noun(spec: MeasureSpec) -> str:
    return f"A value of the kind {spec.kind.value}"


def _unit(spec: MeasureSpec) -> str:
    return f" {spec.unit}" if spec.unit in SECONDS_IN else ""
