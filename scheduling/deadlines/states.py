"""In which state a clock is on a day, and on which day a count is expected to be full."""

from datetime import date
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from scheduling.deadlines.clocks import Clocks
from scheduling.deadlines.facts import NO_DAY, Days, Facts, key_of
from scheduling.enums import DeadlineOutcome


class State(StrEnum):
    UPCOMING = "upcoming"
    DUE = "due"
    OVERDUE = "overdue"
    MET = "met"
    MET_LATE = "met_late"
    SUPERSEDED = "superseded"


def outcomes(found: Clocks) -> NDArray[np.str_]:
    """What became of each clock: open, met, met late or superseded. An answer on the due day is in time."""
    closed, known = ~np.isnat(found.closed), ~np.isnat(found.due)
    late = closed & known & (found.closed > found.due)
    conditions = [~np.isnat(found.ended), late, closed]
    answers = [DeadlineOutcome.SUPERSEDED, DeadlineOutcome.MET_LATE, DeadlineOutcome.MET]
    return np.select(conditions, answers, default=DeadlineOutcome.OPEN).astype(str)


def state_on(outcome: str, due_on: date | None, *, today: date) -> State:
    """The state of one deadline on a day; due is its last timely day, overdue begins with the day after."""
    if outcome != DeadlineOutcome.OPEN:
        return State(outcome)
    if due_on is None or due_on > today:
        return State.UPCOMING
    return State.DUE if due_on == today else State.OVERDUE


def expected(found: Clocks, booked: Facts, today: Days) -> Days:
    """The day on which an open count will be full if every booked day takes place, NaT where too few are booked.

    `booked` are days to come, of the same subjects; one that lies before `today` or was counted already adds nothing.
    """
    days = booked.once_a_day()
    since = np.fmax(found.last, np.asarray(today, dtype="datetime64[D]") - np.timedelta64(1, "D"))
    missing = found.target - found.counted
    at = np.searchsorted(key_of(days.subject, days.day), key_of(found.subject, since), side="right") + missing - 1
    inside = (at >= 0) & (at < days.size)
    if not days.size:
        return np.full(found.size, NO_DAY)
    place = np.clip(at, 0, days.size - 1)
    open_count = (missing > 0) & np.isnat(found.closed) & np.isnat(found.ended) & np.isnat(found.due)
    return np.where(open_count & inside & (days.subject[place] == found.subject), days.day[place], NO_DAY)
