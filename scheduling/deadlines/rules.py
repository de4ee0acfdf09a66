"""What a rule says: which fact starts its clock, how long it runs, what closes it."""

from dataclasses import dataclass
from enum import StrEnum

from scheduling.deadlines.errors import BadRule
from scheduling.enums import FactKind


class Unit(StrEnum):
    """In what an interval is counted."""

    DAYS = "days"
    BUSINESS_DAYS = "business_days"
    MONTHS = "months"
    YEARS = "years"
    COVERED = "covered"  # until the last day that the starting fact speaks for
    COUNT = "count"  # so many facts of the kind that the rule counts, on different days


class Which(StrEnum):
    """Which of several intervals decides."""

    FIRST = "first"
    LAST = "last"


class Starts(StrEnum):
    """Which of the facts that may start a clock do so."""

    EACH = "each"  # every one has a clock of its own
    FIRST = "first"  # only the first of a subject
    PERIODS = "periods"  # the first counted day after a period's end begins the next period


@dataclass(frozen=True, kw_only=True, slots=True)
class Interval:
    """How long a clock runs; of days, the starting day is not counted, of facts, the starting one is the first."""

    number: int
    unit: Unit


@dataclass(frozen=True, kw_only=True, slots=True)
class Rule:
    """One rule of a pack.

    `starts` are the kinds of facts that start a clock, `counts` those that its count takes, `closes` those that answer
    what is due, `ends` those that end it without an answer. A kind that both starts and closes
    makes a clock that runs from one such fact to the next.
    """

    code: str
    starts: frozenset[FactKind]
    starting: Starts
    intervals: tuple[Interval, ...]
    closes: frozenset[FactKind]
    which: Which = Which.FIRST
    counts: frozenset[FactKind] = frozenset()
    ends: frozenset[FactKind] = frozenset()
    allowance_days: int = 0

    def __post_init__(self) -> None:
        for wrong, reason in (
            (not self.starts, "no fact starts its clock"),
            (not self.closes, "no fact closes it"),
            (not self.intervals, "it has no interval"),
            (any(one.unit == Unit.COVERED and one.number for one in self.intervals), "a covered day has no number"),
            (any(one.number < 0 for one in self.intervals), "an interval is negative"),
            (any(one.unit == Unit.COUNT and one.number < 1 for one in self.intervals), "it counts to zero"),
            (self.counted is not None and not self.counts, "it counts, but no fact is named"),
            (sum(one.unit == Unit.COUNT for one in self.intervals) > 1, "it counts to two numbers"),
            (self.starting == Starts.PERIODS and len(self.intervals) > 1, "periods are ended by a count alone"),
            (self.starting == Starts.PERIODS and self.counted is None, "periods are ended by a count"),
            (self.allowance_days < 0, "an allowance is negative"),
        ):
            if wrong:
                raise BadRule(self.code, reason)

    @property
    def counted(self) -> int | None:
        """To how many facts it counts, or None where it follows the calendar alone."""
        return next((one.number for one in self.intervals if one.unit == Unit.COUNT), None)
