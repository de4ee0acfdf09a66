"""Reading one document without treating the child: for a reason, within an hour, never in silence."""

from datetime import datetime

from django.db import transaction

from clinic import outbox
from clinic.enums import NoticeKind
from clinic.models import Document, DocumentReading
from clinic.models.document_readings import AN_HOUR
from clinic.rules.access import Actor
from clinic.selectors.document_readings import signers_of
from clinic.services import notices


@transaction.atomic
def read_with_reason(*, actor: Actor, document: Document, reason: str, now: datetime) -> DocumentReading:
    """Put a document in her reach for an hour; its author, its signers and whoever is to co-sign it are told."""
    reading = DocumentReading.objects.create(
        organization_id=actor.organization_id,
        document=document,
        staff_id=actor.person,
        reason=reason,
        begun_at=now,
        ends_at=now + AN_HOUR,
    )
    concerned = {document.author_id, *signers_of(document)}
    if document.cosign_owner_id:
        concerned.add(document.cosign_owner_id)
    notices.tell(
        organization_id=actor.organization_id,
        recipients=concerned - {actor.person},
        kind=NoticeKind.DOCUMENT_READ,
        subject_kind="document_reading",
        subject_id=reading.pk,
        now=now,
    )
    outbox.created("document_reading", reading, client_id=document.client_id, episode_id=document.episode_id)
    return reading
