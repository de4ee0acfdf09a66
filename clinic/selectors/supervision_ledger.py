"""On which days nobody answered for an assistant."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from clinic.enums import Role, ScopeKind, SupervisionKind
from clinic.models import Episode, Staff, StaffRole, Supervision
from clinic.rules.supervision import Assignment, unsupervised_days


@dataclass(frozen=True)
class Ledger:
    """A stretch of days of one assistant, and those of them without an assignment."""

    assistant: Staff
    starts_on: date
    ends_on: date
    unassigned_days: list[date]

    @property
    def sentence(self) -> str:
        count = len(self.unassigned_days)
        return f"{count or 'no'} {'day' if count == 1 else 'days'} without an assignment"


def ledger_of(assistant: Staff, first: date, last: date, *, episode: Episode | None = None) -> Ledger:
    """The days from first to last on which she worked as an assistant and nobody supervised her, there or anywhere."""
    rows: Any = Supervision.objects.filter(assistant=assistant, starts_on__lte=last)
    if episode is not None:
        rows = rows.filter(scope_id__in=[episode.pk, episode.site_id, episode.organization_id])
    assignments = [
        Assignment(
            supervisor_id=row.supervisor_id,
            scope=ScopeKind(row.scope),
            kind=SupervisionKind(row.kind),
            starts_on=row.starts_on,
            ends_on=row.ends_on,
        )
        for row in rows
    ]
    held = list(StaffRole.objects.filter(staff=assistant).values_list("role", "starts_on", "ends_on"))
    days = [day for day in unsupervised_days(first, last, assignments) if _as_assistant(held, day)]
    return Ledger(assistant, first, last, days)


def _as_assistant(held: list[tuple[str, date, date | None]], day: date) -> bool:
    """Whoever is a therapist as well needs nobody to answer for her."""
    roles = {role for role, starts_on, ends_on in held if starts_on <= day and (ends_on is None or day <= ends_on)}
    return Role.ASSISTANT.value in roles and Role.THERAPIST.value not in roles
