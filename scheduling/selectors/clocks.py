"""What the projection of deadlines reads: rules in effect, facts in force, days that are booked."""

from collections.abc import Iterable, Sequence
from datetime import date
from typing import NamedTuple
from uuid import UUID

from clinic.models import Document, Episode, Organization
from scheduling.deadlines.packs import PackRule, rule_of
from scheduling.enums import VisitStatus
from scheduling.models import Deadline, DeadlineRule, Fact, Participation
from scheduling.selectors.facts import WITHOUT_TREATMENT

LIMITS = ("sign_within_business_days", "cosign_within_days")


class KeptRule(NamedTuple):
    """A rule as it is kept, with the row that deadlines point to."""

    row_id: UUID
    pack: str
    settings: frozenset[str]
    rule: PackRule


class FactRow(NamedTuple):
    id: UUID
    kind: str
    subject_id: UUID
    episode_id: UUID
    occurred_on: date
    covers_until: date


def rules_for(organization: Organization) -> list[KeptRule]:
    """Every rule, with this organization's own limits in place of the pack's."""
    limits = limits_of(organization)
    return [
        KeptRule(
            row_id=row.pk,
            pack=row.pack,
            settings=frozenset(row.settings),
            rule=rule_of(row.definition, file=row.pack, limits=limits),
        )
        for row in DeadlineRule.objects.order_by("pack", "code", "effective_from")
    ]


def limits_of(organization: Organization) -> dict[str, int]:
    """The organization's own limits, which stand for a pack's."""
    return {name: getattr(organization, name) for name in LIMITS}


def episodes_to_follow(episodes: Iterable[UUID]) -> list[Episode]:
    """These episodes, in the order in which they are locked."""
    found = Episode.objects.filter(pk__in=list(episodes)).select_related("organization", "site")
    return list(found.order_by("pk"))


def episodes_of_document(document_id: UUID) -> list[UUID]:
    return list(Document.objects.filter(pk=document_id).values_list("episode_id", flat=True))


def episodes_of_visit(visit_id: UUID) -> list[UUID]:
    return list(Participation.objects.filter(visit=visit_id).values_list("episode_id", flat=True))


def every_episode() -> list[UUID]:
    return list(Episode.objects.values_list("pk", flat=True))


def facts_of(episodes: Sequence[UUID]) -> list[FactRow]:
    """Facts in force, in the order in which they are told apart."""
    rows = Fact.objects.filter(episode_id__in=episodes, revoked_at__isnull=True).order_by("occurred_on", "id")
    return [FactRow(*row) for row in rows.values_list(*FactRow._fields)]


def booked_days(episodes: Sequence[UUID]) -> list[tuple[UUID, date]]:
    """Days of treatment to come: what is booked or begun."""
    return list(
        Participation.objects.filter(
            episode_id__in=episodes, status__in=[VisitStatus.BOOKED.value, VisitStatus.CHECKED_IN.value]
        )
        .exclude(visit__kind__in=WITHOUT_TREATMENT)
        .values_list("episode_id", "service_date")
    )


def deadlines_of(episodes: Sequence[UUID]) -> list[Deadline]:
    return list(Deadline.objects.filter(episode_id__in=episodes))
