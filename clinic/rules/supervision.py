"""Who supervised an assistant on a day, and who therefore may co-sign what she did on it."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from uuid import UUID

from clinic.enums import ScopeKind, SupervisionKind


class Basis(StrEnum):
    """What a person's right to co-sign rests on."""

    PRIMARY = "primary"
    COVERING = "covering"
    SUCCESSION = "succession"


NARROWEST_FIRST = (ScopeKind.EPISODE, ScopeKind.SITE, ScopeKind.ORGANIZATION)


@dataclass(frozen=True)
class Assignment:
    """One therapist's supervision of the assistant, in a scope that reaches the episode; days inclusive."""

    supervisor_id: UUID
    scope: ScopeKind
    kind: SupervisionKind
    starts_on: date
    ends_on: date | None = None

    def holds(self, day: date) -> bool:
        return self.starts_on <= day and (self.ends_on is None or day <= self.ends_on)


@dataclass(frozen=True)
class Succession:
    """An act by which one therapist answers for the days of another who left."""

    former_id: UUID
    successor_id: UUID
    starts_on: date


@dataclass(frozen=True)
class Eligible:
    """A therapist who may co-sign the day, and in succession to whom, if not on her own account."""

    staff_id: UUID
    basis: Basis
    in_succession_to: UUID | None = None


def supervisors_on(day: date, assignments: Iterable[Assignment]) -> list[Eligible]:
    """Who supervised on that day: the primary of the narrowest scope, then those covering, each once."""
    in_force = sorted(
        (assignment for assignment in assignments if assignment.holds(day)),
        key=lambda a: (NARROWEST_FIRST.index(a.scope), a.starts_on, a.supervisor_id),
    )
    primaries = [a for a in in_force if a.kind == SupervisionKind.PRIMARY]
    narrowest = [a for a in primaries if a.scope == primaries[0].scope]
    covering = [a for a in in_force if a.kind == SupervisionKind.COVERING]

    found: dict[UUID, Eligible] = {}
    for assignment in [*narrowest, *covering]:
        basis = Basis(assignment.kind)
        found.setdefault(assignment.supervisor_id, Eligible(assignment.supervisor_id, basis))
    return list(found.values())


def eligible_cosigners(
    day: date,
    assignments: Iterable[Assignment],
    *,
    today: date,
    successions: Sequence[Succession] = (),
    left: Collection[UUID] = frozenset(),
) -> list[Eligible]:
    """Who may co-sign that day's work today: its supervisors and their successors, without those who left."""
    supervised = supervisors_on(day, assignments)
    found = {eligible.staff_id: eligible for eligible in supervised if eligible.staff_id not in left}
    for former in supervised:
        for successor_id in successors_of(former.staff_id, successions=successions, today=today):
            if successor_id not in left:
                found.setdefault(successor_id, Eligible(successor_id, Basis.SUCCESSION, former.staff_id))
    return list(found.values())


def successors_of(former_id: UUID, *, successions: Sequence[Succession], today: date) -> list[UUID]:
    """Those who answer for the former supervisor today, through any number of handovers, nearest first."""
    found: list[UUID] = []
    waiting = [former_id]
    while waiting:
        handed_over = waiting.pop(0)
        for act in sorted(successions, key=lambda a: (a.starts_on, a.successor_id)):
            if act.former_id != handed_over or act.starts_on > today:
                continue
            if act.successor_id != former_id and act.successor_id not in found:
                found.append(act.successor_id)
                waiting.append(act.successor_id)
    return found


def owner_on(
    day: date,
    assignments: Iterable[Assignment],
    *,
    today: date,
    successions: Sequence[Succession] = (),
    left: Collection[UUID] = frozenset(),
) -> UUID | None:
    """Whose list that day's work waits on; None puts it on the administrator's list."""
    assignments = list(assignments)
    eligible = eligible_cosigners(day, assignments, today=today, successions=successions, left=left)
    primaries = {e.staff_id for e in supervisors_on(day, assignments) if e.basis == Basis.PRIMARY}

    def rank(candidate: Eligible) -> int:
        if candidate.basis == Basis.PRIMARY:
            return 0
        return 1 if candidate.in_succession_to in primaries else 2

    return min(eligible, key=rank).staff_id if eligible else None


def unsupervised_days(first: date, last: date, assignments: Iterable[Assignment]) -> list[date]:
    """The days from first to last, both included, on which nobody supervised."""
    assignments = list(assignments)
    days = (first + timedelta(days=offset) for offset in range((last - first).days + 1))
    return [day for day in days if not any(assignment.holds(day) for assignment in assignments)]
