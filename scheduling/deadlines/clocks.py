"""Clocks of many subjects under one rule: when each started, what it has counted, when it is due, what closed it.

A projection: the same facts give the same clocks, in whatever order and however often they were recorded.
"""

from collections.abc import Collection
from dataclasses import dataclass, fields
from datetime import date
from typing import Any, Literal

import numpy as np

from scheduling.deadlines.calendar import after
from scheduling.deadlines.facts import NO_DAY, Days, Facts, Flags, Ints, key_of
from scheduling.deadlines.rules import Rule, Starts, Unit, Which

NONE = -1
FAR = np.datetime64("9999-12-31", "D")


@dataclass(frozen=True, slots=True)
class Clocks:
    """One entry a clock, ordered by subject and start.

    `anchor` is the row of the fact that started it, `cycle` counts a subject's clocks from 1. `counted` is how many
    facts of `target` (0 where nothing is counted) fall in it, `last` the day of the last one. `due` is the last timely
    day, NaT until a count is full. `closed` and `closed_by` are day and row of what answered it, `covered` the day up
    to which the answer speaks; `ended` is the day on which something else took its place.
    """

    subject: Ints
    anchor: Ints
    cycle: Ints
    starts: Days
    counted: Ints
    target: Ints
    last: Days
    due: Days
    closed: Days
    closed_by: Ints
    covered: Days
    ended: Days

    @property
    def size(self) -> int:
        return int(self.subject.size)

    def taken(self, which: Flags | Ints) -> "Clocks":
        return Clocks(*(getattr(self, column.name)[which] for column in fields(self)))


COLUMNS = {
    column.name: "datetime64[D]" if column.type == "Days" or column.type is Days else "int64"
    for column in fields(Clocks)
}


def clocks(rule: Rule, facts: Facts, *, holidays: Collection[date] = ()) -> Clocks:
    """The clocks of all subjects of `facts` under one rule.

    Units: local calendar days. Periods are those of a progress report (CMS Pub. 100-02 ch. 15 §220.3.D): a period ends
    on its last counted day or on an earlier day that a report chose, and the next counted day begins the next one.
    """
    if rule.starting == Starts.PERIODS:
        return _periods(rule, facts)
    return _runs(rule, facts, holidays)


# --- Clocks that a fact starts ----------------------------------------------------------------------


def _runs(rule: Rule, facts: Facts, holidays: Collection[date]) -> Clocks:
    starts = facts.having(rule.starts).once_a_day()
    first = np.diff(starts.subject, prepend=NONE) != 0
    if rule.starting == Starts.FIRST:
        starts, first = starts.taken(first), np.ones(int(first.sum()), dtype=bool)
    until = _next_start(starts)
    recurring = bool(rule.starts & rule.closes)
    # What an answer speaks for decides which clock it answers: a report written late is still that period's.
    closing = _by_cover(facts.having(rule.closes))
    closing_keys = key_of(closing.subject, closing.covers)
    at = np.searchsorted(closing_keys, key_of(starts.subject, starts.day), side="right" if recurring else "left")
    covers = _day_at(closing, at, starts.subject, of=closing.covers)
    missed = covers > until if recurring else covers >= until
    closed = np.where(missed, NO_DAY, _day_at(closing, at, starts.subject))
    ending = facts.having(rule.ends)
    ended = _day_at(ending, _position(ending, starts.subject, starts.day, "left"), starts.subject)
    ended = np.where(np.isnat(closed) | (ended < closed), ended, NO_DAY)
    closed = np.where(np.isnat(ended), closed, NO_DAY)
    answered = ~np.isnat(closed)
    counted, last, full = _counts(rule, facts, starts, _earliest(closed, ended))
    return Clocks(
        subject=starts.subject,
        anchor=starts.row,
        cycle=_cycles(first),
        starts=starts.day,
        counted=counted,
        target=np.full(starts.size, rule.counted or 0, dtype=np.int64),
        last=last,
        due=_due(rule, starts, full, holidays),
        closed=closed,
        closed_by=np.where(answered, _value_at(closing.row, at), NONE),
        covered=np.where(answered, _value_at(closing.covers, at), NO_DAY),
        ended=ended,
    )


def _next_start(starts: Facts) -> Days:
    """The day on which the same subject's next clock starts, NaT for its last one."""
    following = np.append(starts.day[1:], NO_DAY) if starts.size else starts.day
    same = np.append(starts.subject[1:] == starts.subject[:-1], False) if starts.size else np.zeros(0, dtype=bool)
    return np.where(same, following, NO_DAY)


def _cycles(first: Flags) -> Ints:
    """How many clocks of its subject each one is, from 1."""
    places = np.arange(first.size)
    return places - np.maximum.accumulate(np.where(first, places, 0)) + 1 if first.size else places


def _counts(rule: Rule, facts: Facts, starts: Facts, until: Days) -> tuple[Ints, Days, Days]:
    """How many counted days lie in each clock, the last of them, and the one that made the count full."""
    if rule.counted is None:
        nothing = np.full(starts.size, NO_DAY)
        return np.zeros(starts.size, dtype=np.int64), nothing, nothing
    days = facts.having(rule.counts).once_a_day()
    # The starting fact is the first where it is of a counted kind; else counting begins on the day after.
    since = _position(days, starts.subject, starts.day, "left" if rule.starts <= rule.counts else "right")
    open_end = np.where(np.isnat(until), FAR, until)
    end = _position(days, starts.subject, open_end, "right")
    counted = np.maximum(end - since, 0)
    last = np.where(counted > 0, _value_at(days.day, end - 1), NO_DAY)
    full = np.where(counted >= rule.counted, _value_at(days.day, since + rule.counted - 1), NO_DAY)
    return np.minimum(counted, rule.counted), last, full


def _due(rule: Rule, starts: Facts, full: Days, holidays: Collection[date]) -> Days:
    given = {Unit.COUNT: full, Unit.COVERED: starts.covers}
    dues = [
        given[one.unit] if one.unit in given else after(starts.day, one, holidays=holidays) for one in rule.intervals
    ]
    found = dues[0]
    for other in dues[1:]:
        found = _earliest(found, other) if rule.which == Which.FIRST else np.maximum(found, other)
    return found


# --- Periods that a count ends ----------------------------------------------------------------------


def _periods(rule: Rule, facts: Facts) -> Clocks:
    days = facts.having(rule.counts).once_a_day()
    reports = _by_cover(facts.having(rule.closes))
    keys, end_of = key_of(days.subject, days.day), np.searchsorted(days.subject, days.subject, side="right")
    at = np.flatnonzero(np.diff(days.subject, prepend=NONE) != 0)
    rounds: list[Clocks] = []
    while at.size:
        found, following = _one_period(rule, days, keys, end_of, reports, at, cycle=len(rounds) + 1)
        rounds.append(found)
        at = following[following != NONE]
    return _in_order(rounds)


def _by_cover(reports: Facts) -> Facts:
    """A report answers the period in which the last day lies that it speaks for."""
    return reports.taken(np.lexsort((reports.row, reports.covers, reports.subject)))


def _one_period(
    rule: Rule, days: Facts, keys: Ints, end_of: Ints, reports: Facts, at: Ints, *, cycle: int
) -> tuple[Clocks, Ints]:
    """The periods that start at these places of `days`, and where each subject's next one starts, NONE for nowhere."""
    target = rule.counted or 0
    subject, start, end = days.subject[at], days.day[at], end_of[at]
    full = np.where(at + target <= end, _value_at(days.day, at + target - 1), NO_DAY)
    beyond = np.where(at + target < end, _value_at(days.day, at + target), NO_DAY)
    place = np.searchsorted(key_of(reports.subject, reports.covers), key_of(subject, start), side="left")
    covers = _day_at(reports, place, subject, of=reports.covers)
    answered = ~np.isnat(covers) & (np.isnat(beyond) | (covers < beyond))
    over = np.where(answered, _earliest(covers, full), full)
    following = np.searchsorted(keys, key_of(subject, np.where(np.isnat(over), FAR, over)), side="right")
    counted = np.minimum(following, end) - at
    clock = Clocks(
        subject=subject,
        anchor=days.row[at],
        cycle=np.full(at.size, cycle, dtype=np.int64),
        starts=start,
        counted=counted,
        target=np.full(at.size, target, dtype=np.int64),
        last=days.day[at + counted - 1],
        due=over,
        closed=np.where(answered, _value_at(reports.day, place), NO_DAY),
        closed_by=np.where(answered, _value_at(reports.row, place), NONE),
        covered=np.where(answered, covers, NO_DAY),
        ended=np.full(at.size, NO_DAY),
    )
    return clock, np.where(~np.isnat(over) & (following < end), following, NONE)


def _in_order(rounds: list[Clocks]) -> Clocks:
    if not rounds:
        return Clocks(*[np.zeros(0, dtype=kind) for kind in COLUMNS.values()])
    whole = Clocks(*(np.concatenate([getattr(one, name) for one in rounds]) for name in COLUMNS))
    return whole.taken(np.lexsort((whole.cycle, whole.subject)))


# --- Looking up -------------------------------------------------------------------------------------


def _position(facts: Facts, subject: Ints, day: Days, side: Literal["left", "right"]) -> Ints:
    return np.searchsorted(key_of(facts.subject, facts.day), key_of(subject, day), side=side)


def _day_at(facts: Facts, at: Ints, subject: Ints, *, of: Days | None = None) -> Days:
    """The day of the fact at each place, NaT where the place is another subject's or beyond the end."""
    same = _value_at(facts.subject, at, missing=NONE) == subject
    return np.where(same, _value_at(facts.day if of is None else of, at), NO_DAY)


def _value_at(column: Any, at: Ints, *, missing: Any = None) -> Any:
    """The column's entry at each place; beyond its ends what is missing, which the caller masks."""
    absent = (NO_DAY if column.dtype.kind == "M" else NONE) if missing is None else missing
    if not column.size:
        return np.full(at.shape, absent, dtype=column.dtype)
    inside = (at >= 0) & (at < column.size)
    return np.where(inside, column[np.clip(at, 0, column.size - 1)], absent)


def _earliest(one: Days, other: Days) -> Days:
    """The earlier of two days, or the only one there is."""
    return np.fmin(one, other)
