"""Who supervised whom on a day in an episode: the facts that the rules of co-signing ask for."""

from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django.db.models import Q

from clinic.enums import ScopeKind, SupervisionKind
from clinic.models import Episode, Staff, Supervision
from clinic.models import Succession as SuccessionRow
from clinic.rules.supervision import Assignment, Eligible, Succession, eligible_cosigners, owner_on, supervisors_on


@dataclass(frozen=True)
class Supervised:
    """One assistant's supervision in one episode, with the handovers since."""

    assignments: list[Assignment]
    successions: list[Succession]
    left: frozenset[UUID]

    def in_force(self, day: date) -> bool:
        return bool(supervisors_on(day, self.assignments))

    def eligible(self, day: date, *, today: date) -> list[Eligible]:
        return eligible_cosigners(day, self.assignments, today=today, successions=self.successions, left=self.left)

    def owner(self, day: date, *, today: date) -> UUID | None:
        return owner_on(day, self.assignments, today=today, successions=self.successions, left=self.left)


def supervision_of(assistant_id: UUID, episode: Episode, *, today: date) -> Supervised:
    """Every assignment of this assistant that reaches the episode, of any day; three queries."""
    rows = Supervision.objects.filter(
        Q(scope=ScopeKind.ORGANIZATION.value)
        | Q(scope=ScopeKind.SITE.value, site_id=episode.site_id)
        | Q(scope=ScopeKind.EPISODE.value, episode_id=episode.pk),
        organization_id=episode.organization_id,
        assistant_id=assistant_id,
    )
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
    acts = SuccessionRow.objects.filter(organization_id=episode.organization_id)
    successions = [Succession(row.former_id, row.successor_id, row.starts_on) for row in acts]
    left = Staff.objects.filter(organization_id=episode.organization_id, left_on__lt=today).values_list("pk", flat=True)
    return Supervised(assignments=assignments, successions=successions, left=frozenset(left))
