"""What of a child's record goes to somebody outside is recorded: what, to whom, when, why, by what right."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from clinic import outbox
from clinic.errors import Conflict, constraint_as_error
from clinic.models import Disclosure, Episode
from clinic.rules.access import Action, Actor
from clinic.selectors.disclosures import disclosures_for, releases_of
from clinic.services.references import named


class DisclosureReplaced(Conflict):
    code = "disclosure_already_replaced"
    title = "Another row has taken the place of this one: replace that"


@transaction.atomic
def record_disclosure(
    *,
    actor: Actor,
    row_id: UUID,
    episode: UUID,
    consent: UUID | None = None,
    replaces: UUID | None = None,
    digest: str,
    now: datetime,
    **wanted: Any,
) -> Disclosure:
    """Record a request or a disclosure, whatever it rests on: what went out is never refused the record."""
    about = named(Episode.objects.visible_to(actor, Action.RECORD_DISCLOSURES), episode, member="episode")
    release = named(releases_of(about.client_id, about.pk), consent, member="consent") if consent else None
    before = disclosures_for(actor, Action.RECORD_DISCLOSURES).filter(episode=about)
    with constraint_as_error({"clinic_disclosure_replaces_id_key": DisclosureReplaced}):
        disclosure = Disclosure.objects.create(
            pk=row_id,
            organization_id=actor.organization_id,
            client_id=about.client_id,
            episode=about,
            consent=release,
            replaces=named(before, replaces, member="replaces") if replaces else None,
            recorded_by_id=actor.person,
            recorded_at=now,
            created_digest=digest,
            **wanted,
        )
    outbox.created("disclosure", disclosure, client_id=about.client_id, episode_id=about.pk)
    return disclosure
