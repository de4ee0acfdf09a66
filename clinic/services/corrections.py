"""What should not stand in the record is said to be in error: with a reason, for ever, and readable still."""

from collections.abc import Iterable
from datetime import datetime
from uuid import UUID

from django.db import transaction

from clinic import outbox
from clinic.enums import DocumentKind, DocumentState, NoticeKind
from clinic.errors import Conflict, NotAllowed
from clinic.models import Document, EnteredInError, Signature
from clinic.rules import corrections as rules
from clinic.rules.access import Actor
from clinic.services import notices
from clinic.services.documents import require_proof
from clinic.services.pins import PinProof

SUBJECTS = {DocumentKind.VISIT_NOTE: "note", DocumentKind.ADDENDUM: "addendum"}


class AlreadyInError(Conflict):
    code = "already_in_error"
    title = "This document is in error already"


CHANGED = ("state", "error", "changed_at", "version")


@transaction.atomic(savepoint=False)
def enter_in_error(*, actor: Actor, document: Document, proof: PinProof, reason: str, now: datetime) -> None:
    """Take a document, and with it what was added to it, out of every count; the caller holds its lock.

    Its author and whoever signed it are told.
    """
    require_right(actor=actor, document=document, proof=proof)
    if document.state == DocumentState.ENTERED_IN_ERROR.value:
        raise AlreadyInError
    added = Document.objects.filter(amends=document).exclude(state=DocumentState.ENTERED_IN_ERROR.value)
    whole = [document, *added.select_for_update(of=("self",), no_key=True).order_by("pk")]
    rows = EnteredInError.objects.bulk_create(
        EnteredInError(organization_id=row.organization_id, document=row, by_id=actor.person, at=now, reason=reason)
        for row in whole
    )
    for row in rows:
        _leave(row.document, row, now)
    _tell(actor, whole, now)


def require_right(*, actor: Actor, document: Document, proof: PinProof) -> None:
    """A therapist may say it; before a document is first signed, so may its author."""
    require_proof(actor, proof)
    signed_before = document.current_version_id is not None
    if not rules.may_say_in_error(
        signed_before=signed_before, author_id=document.author_id, by_id=actor.person, roles=actor.roles
    ):
        raise NotAllowed("A therapist says that what was signed is in error", code="needs_therapist")


def _leave(document: Document, error: EnteredInError, now: datetime) -> None:
    document.state = DocumentState.ENTERED_IN_ERROR.value
    document.error = error
    document.changed_at = now
    document.version += 1
    document.save(update_fields=CHANGED)
    topic, organization_id = "document.entered_in_error", document.organization_id
    outbox.record(topic, organization_id=organization_id, now=now, document_id=document.pk)
    outbox.changed("document", document, client_id=document.client_id, episode_id=document.episode_id)


def _tell(actor: Actor, documents: Iterable[Document], now: datetime) -> None:
    for document in documents:
        signers = Signature.objects.filter(version__document=document).values_list("signer_id", flat=True)
        concerned: set[UUID] = {document.author_id, *signers} - {actor.person}
        notices.tell(
            organization_id=document.organization_id,
            recipients=concerned,
            kind=NoticeKind.ENTERED_IN_ERROR,
            subject_kind=SUBJECTS[DocumentKind(document.kind)],
            subject_id=document.pk,
            now=now,
        )
