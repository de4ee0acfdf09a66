"""Who may decide, who may know and who may pick up, on a day: what was granted, less what a court took away."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from uuid import UUID

from clinic.enums import AuthorityKind
from clinic.rules.ages import birthday

A = AuthorityKind
DECIDING = frozenset({A.CONSENT_TO_CARE, A.EDUCATIONAL_DECISIONS})


@dataclass(frozen=True)
class Span:
    """One right of one contact, granted or taken away from a day to a day, both included."""

    contact: UUID
    right: AuthorityKind
    starts_on: date
    ends_on: date | None = None

    def holds_on(self, day: date) -> bool:
        return self.starts_on <= day and (self.ends_on is None or day <= self.ends_on)


@dataclass(frozen=True)
class Standing:
    """What one contact may on a day, and what she would but for a court's order."""

    held: frozenset[AuthorityKind] = field(default_factory=frozenset)
    taken: frozenset[AuthorityKind] = field(default_factory=frozenset)


class Observation(StrEnum):
    """What whoever reads who may decide should look at; the record is not judged by it."""

    NOBODY_CONSENTS_TO_CARE = "nobody_consents_to_care"
    SEVERAL_CONSENT_TO_CARE = "several_consent_to_care"
    SEVERAL_DECIDE_ON_EDUCATION = "several_decide_on_education"
    DECIDES_WITHOUT_INFORMATION = "decides_without_information"
    CLIENT_IS_EIGHTEEN = "client_is_eighteen"


def standings(day: date, *, granted: Iterable[Span], taken: Iterable[Span]) -> dict[UUID, Standing]:
    """Each contact who stands beside the child on this day, with her rights; no right follows from another.

    A court's order takes a right away while it holds, whenever the right was granted; then the right is there again.
    """
    here = [span for span in granted if span.holds_on(day)]
    away = {(span.contact, span.right) for span in taken if span.holds_on(day)}
    found: dict[UUID, Standing] = {}
    for contact in dict.fromkeys(span.contact for span in here):
        rights = {span.right for span in here if span.contact == contact and span.right != A.NONE}
        lost = {right for right in rights if (contact, right) in away}
        found[contact] = Standing(held=frozenset(rights - lost), taken=frozenset(lost))
    return found


def observations(beside: Mapping[UUID, Standing], *, birth_date: date, day: date) -> list[Observation]:
    """What to look at: nobody or several who decide, one who decides and may not know, a client who is of age.

    At eighteen the rights of a parent over education records pass to the student (34 CFR 99.5(a)); on care the age
    is local law's.
    """
    deciding = {right: [s for s in beside.values() if right in s.held] for right in DECIDING}
    uninformed = any(s.held & DECIDING and A.INFORMATION not in s.held for s in beside.values())
    told = {
        Observation.NOBODY_CONSENTS_TO_CARE: not deciding[A.CONSENT_TO_CARE],
        Observation.SEVERAL_CONSENT_TO_CARE: len(deciding[A.CONSENT_TO_CARE]) > 1,
        Observation.SEVERAL_DECIDE_ON_EDUCATION: len(deciding[A.EDUCATIONAL_DECISIONS]) > 1,
        Observation.DECIDES_WITHOUT_INFORMATION: uninformed,
        Observation.CLIENT_IS_EIGHTEEN: day >= birthday(birth_date, 18),
    }
    return [observation for observation, holds in told.items() if holds]
