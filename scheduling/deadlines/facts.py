"""What clocks count, as columns: many subjects at once, one subject is a batch of one."""

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scheduling.deadlines.errors import BadFacts
from scheduling.enums import FactKind

Ints = NDArray[np.int64]
Days = NDArray[np.datetime64]
Flags = NDArray[np.bool_]
NO_DAY = np.datetime64("NaT", "D")
CODES = {kind: code for code, kind in enumerate(FactKind)}
# Wider than any day since 1970, so that subject and day make one sortable number.
SPAN = 1 << 32


@dataclass(frozen=True, slots=True)
class Facts:
    """Facts in force, one entry a fact, all of length n.

    `subject` numbers what the clock is about (0, 1, 2 …: an episode, a participation, a signed version); `kind` is
    its kind's number in CODES; `day` the local day on which it was true; `covers` the last day that it speaks for, like
    the end of a report's period, else the day itself; `row` leads back to where it came from. A revoked fact is not
    among them.
    """

    subject: Ints
    kind: Ints
    day: Days
    covers: Days
    row: Ints

    @classmethod
    def of(cls, subject: object, kind: object, day: object, *, covers: object = None, row: object = None) -> "Facts":
        """Columns put in order of subject, day and row. Raises BadFacts for lengths that differ and for no day."""
        subjects = np.asarray(subject, dtype=np.int64)
        days = np.asarray(day, dtype="datetime64[D]")
        ends = days if covers is None else np.asarray(covers, dtype="datetime64[D]")
        columns: tuple[Any, ...] = (
            subjects,
            np.asarray(kind, dtype=np.int64),
            days,
            np.where(np.isnat(ends), days, ends),
            np.arange(subjects.size) if row is None else np.asarray(row, dtype=np.int64),
        )
        if any(column.shape != subjects.shape or column.ndim != 1 for column in columns):
            raise BadFacts("The columns of facts are flat and equally long.")
        if np.isnat(days).any():
            raise BadFacts("Each fact has its day.")
        order = np.lexsort((columns[4], days, subjects))
        return cls(*(column[order] for column in columns))

    def having(self, kinds: frozenset[FactKind]) -> "Facts":
        """The facts of these kinds, still in order."""
        return self.taken(np.isin(self.kind, [CODES[kind] for kind in kinds]))

    def taken(self, which: Flags | Ints) -> "Facts":
        return Facts(*(getattr(self, column.name)[which] for column in fields(self)))

    def once_a_day(self) -> "Facts":
        """The first fact of each subject on each day: two visits of one day are one day of treatment."""
        keys = key_of(self.subject, self.day)
        return self.taken(np.flatnonzero(np.diff(keys, prepend=-1) != 0) if keys.size else np.zeros(0, dtype=np.int64))

    @property
    def size(self) -> int:
        return int(self.subject.size)


def key_of(subject: Ints, day: Days) -> Ints:
    """One number for subject and day that sorts as both do; days before 1970 sort before those after."""
    return subject * SPAN + day.astype("datetime64[D]").astype(np.int64) + SPAN // 2
