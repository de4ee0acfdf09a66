"""What was consented to, and what was taken back."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from clinic import outbox
from clinic.enums import ConsentKind, RecordRegime
from clinic.errors import Conflict, InvalidField
from clinic.models import Client, Consent, Contact, Episode
from clinic.rules.access import Action, Actor
from clinic.rules.consents import may_consent
from clinic.selectors import contacts as selectors
from clinic.selectors import episodes as episode_selectors
from clinic.services.changes import apply_changes
from clinic.services.references import named


class AlreadyRevoked(Conflict):
    code = "already_revoked"
    title = "This consent is revoked already"


@transaction.atomic
def record_consent(
    *,
    actor: Actor,
    row_id: UUID,
    client: UUID,
    given_by: UUID,
    kind: str,
    starts_on: date,
    digest: str,
    episode: UUID | None = None,
    **wanted: Any,
) -> Consent:
    """Record a consent. One by somebody who may not decide on its first day needs a stated exception."""
    child = named(Client.objects.visible_to(actor, Action.CHANGE_CONSENTS), client, member="client")
    care = None
    if episode is not None:
        of_child = episode_selectors.episodes_for(actor, Action.CHANGE_CONSENTS, client=child)
        care = named(of_child, episode, member="episode")
    contact = named(selectors.contacts_beside(child), given_by, member="given_by")
    if not wanted.get("exception"):
        _require_authority(contact, child.pk, ConsentKind(kind), care, starts_on, member="given_by")
    consent = Consent.objects.create(
        pk=row_id,
        organization_id=actor.organization_id,
        client=child,
        episode=care,
        given_by=contact,
        kind=kind,
        starts_on=starts_on,
        created_digest=digest,
        **wanted,
    )
    outbox.created("consent", consent, client_id=child.pk, episode_id=episode)
    return consent


@transaction.atomic
def revoke_consent(
    *,
    actor: Actor,
    consent: Consent,
    revoked_on: date,
    now: datetime,
    revoked_by: UUID | None = None,
    exception: str = "",
) -> Consent:
    """Take a consent back from a day on; what rested on it before stays as it was.

    Whoever gave it may take it back; another who may not decide on that day, only with a stated exception.
    """
    if consent.revoked_on is not None:
        raise AlreadyRevoked(revoked_on=consent.revoked_on.isoformat())
    if revoked_on < consent.starts_on:
        raise InvalidField("/revoked_on", "This day lies before the consent", code="before_start")
    if revoked_by is not None:
        contact = named(selectors.contacts_beside(consent.client), revoked_by, member="revoked_by")
        if contact.pk != consent.given_by_id and not exception:
            kind = ConsentKind(consent.kind)
            _require_authority(contact, consent.client_id, kind, consent.episode, revoked_on, member="revoked_by")
    taken_back = {"revoked_on": revoked_on, "revoked_by_id": revoked_by, "revocation_exception": exception}
    apply_changes(consent, taken_back)
    outbox.changed("consent", consent, client_id=consent.client_id, episode_id=consent.episode_id)
    outbox.record(
        "consent.revoked", organization_id=consent.organization_id, now=now, consent_id=consent.pk, kind=consent.kind
    )
    return consent


def _require_authority(
    contact: Contact, client_id: UUID, kind: ConsentKind, care: Episode | None, on: date, *, member: str
) -> None:
    regime = RecordRegime(care.record_regime) if care else None
    if not may_consent(kind, selectors.held_over(contact, client_id, on=on), regime=regime):
        text = (
            f"On {on} this contact may not decide on this; where it was accepted all the same, say in `exception` why"
        )
        raise InvalidField(f"/{member}", text, code="no_authority")
