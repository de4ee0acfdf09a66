"""Reads of who read what for a stated reason."""

from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from clinic.models import Document, DocumentReading, Signature
from clinic.rules.access import Action, Actor


def readings_for(actor: Actor, **equal: Any) -> QuerySet[DocumentReading]:
    """Readings with a reason of documents in her reach; an administrator sees those of the whole organization."""
    return DocumentReading.objects.visible_to(actor, Action.SEE_READINGS).filter(**equal).select_related("document")


def signers_of(document: Document) -> QuerySet[Signature, UUID]:
    """Everybody who signed any version of a document."""
    return Signature.objects.filter(version__document=document).values_list("signer_id", flat=True)
