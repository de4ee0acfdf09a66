"""Each visit held against a criterion, and how the visits up to one day stand to it."""

from collections.abc import Sequence
from dataclasses import dataclass

from goals.enums import ConsistencyKind, MissingCode
from goals.progress.clauses import Decision, decide
from goals.progress.definitions import Criterion, GoalSpec, MinimumData
from goals.progress.measured import Measured
from goals.progress.results import Missing
from goals.progress.series import Visit


@dataclass(frozen=True, kw_only=True, slots=True)
class Check:
    """One visit held against a criterion."""

    visit: Visit
    qualifies: bool
    clauses: tuple[bool, ...]
    primary: Decision

    @property
    def satisfied(self) -> bool:
        """Whether all clauses are satisfied at this visit."""
        return all(self.clauses)


@dataclass(frozen=True, kw_only=True, slots=True)
class Standing:
    """How the visits up to one day stand: those looked at, how many satisfy, and whether that is often enough."""

    window: tuple[Check, ...]
    satisfied: int
    needed: int
    holds: bool
    settings: int
    partners: int
    missing: Missing | None = None


def check_visit(goal: GoalSpec, criterion: Criterion, visit: Visit) -> Check:
    """One visit against minimum data and every clause."""
    decisions = [decide(goal, clause, visit.measured.get(clause.component)) for clause in criterion.clauses]
    return Check(
        visit=visit,
        qualifies=_qualifies(criterion, visit.measured[goal.measure.kind]),
        clauses=tuple(decision.satisfied for decision in decisions),
        primary=decisions[criterion.clauses.index(criterion.primary)],
    )


def _qualifies(criterion: Criterion, measured: Measured) -> bool:
    """Whether one visit has the minimum data; days pooled together need it only together."""
    if criterion.consistency.kind == ConsistencyKind.POOLED_DAYS:
        return True
    return shortage(criterion.minimum, measured) is None


def shortage(minimum: MinimumData, measured: Measured) -> Missing | None:
    """What is short of the minimum (trials, intervals, days written down, minutes watched), or None."""
    counted = sum(cell.n for cell in measured.cells)
    for noun in ("trials", "intervals", "days"):
        wanted = getattr(minimum, noun)
        if wanted is not None and counted < wanted:
            return too_few(wanted, counted, noun)
    watched = measured.watched or 0
    if minimum.minutes is not None and watched < minimum.minutes:
        return too_few(-(-minimum.minutes // 1), watched // 1, "minutes watched")
    return None


def standing(
    window: tuple[Check, ...],
    *,
    good: Sequence[Check],
    satisfied: int,
    needed: int,
    holds: bool,
    missing: Missing | None,
) -> Standing:
    """A standing, with the settings and partners of the visits that carry it."""
    return Standing(
        window=window,
        satisfied=satisfied,
        needed=needed,
        holds=holds and missing is None,
        settings=len({place for check in good for place in check.visit.settings}),
        partners=len({person for check in good for person in check.visit.partners}),
        missing=missing,
    )


def too_few(needs: object, has: object, noun: str) -> Missing:
    """Not enough data, with what is needed and what is there."""
    needed, there = int(str(needs)), int(str(has))
    return Missing(
        code=MissingCode.NOT_ENOUGH_DATA,
        sentence=f"not enough data: needs {needed}, has {there} {noun}",
        needs=needed,
        has=there,
    )
