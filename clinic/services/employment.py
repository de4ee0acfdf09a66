"""What somebody's work rests on: her licences and her contracted hours."""

from datetime import date
from typing import Any
from uuid import UUID

from django.db import transaction

from clinic import outbox
from clinic.errors import Conflict, InvalidField, constraint_as_error
from clinic.models import ContractedHours, Credential
from clinic.rules.access import Actor
from clinic.selectors import staff as selectors
from clinic.services.changes import apply_changes
from clinic.services.periods import require_at_work, set_end
from clinic.services.references import named


class CredentialExists(Conflict):
    code = "credential_exists"
    title = "A credential of this number and first day is recorded already"


class HoursOverlap(Conflict):
    code = "contracted_hours_overlap"
    title = "Her hours on some of these days are agreed already"


HOURS_OVERLAP = {"contracted_hours_no_overlap": HoursOverlap}


@transaction.atomic
def record_credential(*, actor: Actor, row_id: UUID, staff: UUID, digest: str, **wanted: Any) -> Credential:
    """Record a licence with its jurisdiction and its days."""
    person = named(selectors.colleagues(actor), staff, member="staff")
    with constraint_as_error({"credential_number_once": CredentialExists}):
        credential = Credential.objects.create(
            pk=row_id, organization_id=actor.organization_id, staff=person, created_digest=digest, **wanted
        )
    outbox.created("credential", credential)
    return credential


@transaction.atomic
def change_expiry(*, actor: Actor, credential: Credential, expires_on: date | None) -> Credential:
    """Correct or prolong the last day of a licence."""
    if expires_on is not None and expires_on < credential.starts_on:
        raise InvalidField("/expires_on", "The last day lies before the first", code="before_start")
    apply_changes(credential, {"expires_on": expires_on})
    outbox.changed("credential", credential)
    return credential


@transaction.atomic
def agree_hours(
    *, actor: Actor, row_id: UUID, staff: UUID, starts_on: date, digest: str, **wanted: Any
) -> ContractedHours:
    """Record the minutes a week that somebody is contracted for."""
    person = named(selectors.colleagues(actor), staff, member="staff", lock=True)
    require_at_work(person, starts_on=starts_on, ends_on=wanted.get("ends_on"))
    with constraint_as_error(HOURS_OVERLAP):
        hours = ContractedHours.objects.create(
            pk=row_id,
            organization_id=actor.organization_id,
            staff=person,
            starts_on=starts_on,
            created_digest=digest,
            **wanted,
        )
    outbox.created("contracted_hours", hours)
    return hours


@transaction.atomic
def end_hours(*, actor: Actor, hours: ContractedHours, ends_on: date | None) -> ContractedHours:
    """Set the last day on which these hours hold."""
    person = named(selectors.colleagues(actor), hours.staff_id, member="staff", lock=True)
    require_at_work(person, starts_on=hours.starts_on, ends_on=ends_on)
    set_end(hours, ends_on, overlaps=HOURS_OVERLAP)
    outbox.changed("contracted_hours", hours)
    return hours
