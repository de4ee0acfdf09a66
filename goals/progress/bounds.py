"""Values that may be known on one side only: a censored value is an interval, and so is all that follows from it."""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from goals.enums import Bound, Censored, Comparison
from goals.progress.decimals import rounded

Number = Fraction | float
"""An exact number, or an infinity where a side is open."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """A number that lies between `low` and `high`; exact when both are the same."""

    low: Number
    high: Number

    @property
    def exact(self) -> bool:
        """Whether the number itself is known."""
        return self.low == self.high

    @property
    def known(self) -> Number:
        """The number, or the side of it that is known (the lower one where both are)."""
        return self.low if math.isfinite(self.low) else self.high

    @property
    def censored(self) -> Censored | None:
        """What the known side says of the number."""
        if self.exact:
            return None
        return Censored.AT_LEAST if math.isfinite(self.low) else Censored.AT_MOST

    @property
    def bound(self) -> Bound | None:
        """The known side, for a result."""
        if self.exact:
            return None
        return Bound.LOWER if math.isfinite(self.low) else Bound.UPPER

    @property
    def unknown(self) -> bool:
        """Whether neither side is known."""
        return math.isinf(self.low) and math.isinf(self.high)

    def decimal(self) -> Decimal:
        """The known side at twelve places."""
        return rounded(self.known)


def exactly(number: Fraction | Decimal | int) -> Bounds:
    """A number that is known."""
    value = Fraction(number)
    return Bounds(value, value)


def observed(number: Fraction | Decimal | int, censored: Censored | None) -> Bounds:
    """A number as it was written down, with what is known of it."""
    value = Fraction(number)
    if censored == Censored.AT_LEAST:
        return Bounds(value, math.inf)
    if censored == Censored.AT_MOST:
        return Bounds(-math.inf, value)
    return Bounds(value, value)


def both_sides(values: Iterable[Bounds], rule: Callable[[list[Number]], Number]) -> Bounds:
    """A rule that never falls when one of its numbers rises, applied to the lower and to the upper sides."""
    kept = list(values)
    return Bounds(rule([value.low for value in kept]), rule([value.high for value in kept]))


def median(values: Iterable[Bounds]) -> Bounds:
    """The median; exact as soon as the open sides cannot move it."""
    return both_sides(values, _middle)


def _middle(side: list[Number]) -> Number:
    ordered = sorted(side)
    return (ordered[(len(ordered) - 1) // 2] + ordered[len(ordered) // 2]) / 2


def middle_rank(values: Iterable[Bounds], *, higher_is_better: bool) -> Bounds:
    """The median of ranks; of two middle ranks the one further from the goal, since none lies between."""
    return both_sides(values, lambda side: sorted(side)[(len(side) - higher_is_better) // 2])


def mean(values: Sequence[Bounds]) -> Bounds:
    """The arithmetic mean."""
    return both_sides(values, lambda side: sum(side) / len(side))


def total(values: Iterable[Bounds]) -> Bounds:
    """The sum."""
    return both_sides(values, lambda side: sum(side, Fraction(0)))


def nth_best(values: Iterable[Bounds], nth: int, *, higher_is_better: bool) -> Bounds:
    """The value that at least `nth` values reach."""
    return both_sides(values, lambda side: sorted(side, reverse=higher_is_better)[nth - 1])


def times(value: Bounds, factor: Fraction) -> Bounds:
    """The value multiplied by a positive factor."""
    return Bounds(value.low * factor, value.high * factor)


def satisfies(value: Bounds, comparison: Comparison, *, target: Fraction, upper: Fraction | None) -> bool:
    """Whether the number surely stands as it should to its target, compared at twelve places."""
    if comparison == Comparison.AT_MOST:
        return _at_most(value.high, target)
    if comparison == Comparison.WITHIN and upper is not None:
        return _at_most(target, value.low) and _at_most(value.high, upper)
    return _at_most(target, value.low)


def _at_most(smaller: Number, larger: Number) -> bool:
    if math.isinf(smaller) or math.isinf(larger):
        return smaller <= larger
    return smaller <= larger or rounded(smaller) <= rounded(larger)
