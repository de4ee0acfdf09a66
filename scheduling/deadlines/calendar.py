"""Days on the calendar, many at once."""

from collections.abc import Collection
from datetime import date

import numpy as np

from scheduling.deadlines.facts import Days, Ints
from scheduling.deadlines.rules import Interval, Unit


def after(start: Days, interval: Interval, *, holidays: Collection[date] = ()) -> Days:
    """The last timely day of an interval that starts on these days, shape (n,) as given.

    Days: the date plus so many, the first not counted. Months and years clamp to the month's last day (29 February and
    a year is 28 February). Business days: neither weekend nor holiday; a clock that starts on a weekend counts from
    there. Raises ValueError for an interval that is counted in facts.
    """
    if interval.unit == Unit.DAYS:
        return start + np.timedelta64(interval.number, "D")
    if interval.unit in (Unit.MONTHS, Unit.YEARS):
        return months_after(start, interval.number * (12 if interval.unit == Unit.YEARS else 1))
    if interval.unit == Unit.BUSINESS_DAYS:
        free = np.asarray(sorted(holidays), dtype="datetime64[D]")
        # Backward from a day off, so that the day after a weekend is the first of those counted.
        return np.busday_offset(start, interval.number, roll="backward", holidays=free) if interval.number else start
    raise ValueError("an interval counted in facts has no day on the calendar")


def months_after(start: Days, months: int) -> Days:
    """The same day of a later month, or that month's last day where it has none."""
    month = start.astype("datetime64[M]")
    day_of_month = (start - month.astype("datetime64[D]")).astype(np.int64)
    wanted = month + np.timedelta64(months, "M")
    length = ((wanted + np.timedelta64(1, "M")).astype("datetime64[D]") - wanted.astype("datetime64[D]")).astype(
        np.int64
    )
    kept: Ints = np.minimum(day_of_month, length - 1)
    return wanted.astype("datetime64[D]") + kept.astype("timedelta64[D]")
