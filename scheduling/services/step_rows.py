"""One step of a participation's status, as the row that keeps it."""

from datetime import datetime

from clinic.rules.access import Actor
from scheduling.enums import VisitStatus
from scheduling.models import Participation, ParticipationChange


def step_row(
    row: Participation, before: str, after: VisitStatus, *, actor: Actor, now: datetime, reason: str = ""
) -> ParticipationChange:
    return ParticipationChange(
        organization_id=row.organization_id,
        participation=row,
        from_status=before,
        to_status=after.value,
        effective_on=row.service_date,
        at=now,
        by_id=actor.staff_id,
        reason=reason,
    )
