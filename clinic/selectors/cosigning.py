"""Who supervised whom on a day in an episode: the facts that the rules of co-signing ask for."""

from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django.db import connection

from clinic.enums import ScopeKind, SupervisionKind
from clinic.models import Episode
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


FACTS = """
SELECT (SELECT json_agg(json_build_array(supervisor_id, scope, kind, starts_on, ends_on)) FROM clinic_supervision
        WHERE organization_id = %(organization)s AND assistant_id = %(assistant)s
          AND scope_id IN (%(episode)s, %(site)s, %(organization)s)),
       (SELECT json_agg(json_build_array(former_id, successor_id, starts_on)) FROM clinic_succession
        WHERE organization_id = %(organization)s),
       (SELECT array_agg(id) FROM clinic_staff WHERE organization_id = %(organization)s AND left_on < %(today)s)"""


def supervision_of(assistant_id: UUID, episode: Episode, *, today: date) -> Supervised:
    """Every assignment of this assistant that reaches the episode, of any day; one query."""
    asked: dict[str, Any] = {
        "organization": episode.organization_id,
        "assistant": assistant_id,
        "episode": episode.pk,
        "site": episode.site_id,
        "today": today,
    }
    with connection.cursor() as cursor:
        cursor.execute(FACTS, asked)
        assignments, successions, left = cursor.fetchone()
    return Supervised(
        assignments=[_assignment(*row) for row in assignments or ()],
        successions=[_succession(*row) for row in successions or ()],
        left=frozenset(left or ()),
    )


def _assignment(supervisor: str, scope: str, kind: str, starts_on: str, ends_on: str | None) -> Assignment:
    return Assignment(
        supervisor_id=UUID(supervisor),
        scope=ScopeKind(scope),
        kind=SupervisionKind(kind),
        starts_on=date.fromisoformat(starts_on),
        ends_on=date.fromisoformat(ends_on) if ends_on else None,
    )


def _succession(former: str, successor: str, starts_on: str) -> Succession:
    return Succession(UUID(former), UUID(successor), date.fromisoformat(starts_on))
