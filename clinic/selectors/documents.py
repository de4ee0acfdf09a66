"""Reads of the record: documents in reach, their versions, and whether they are still what was signed."""

from collections.abc import Collection
from dataclasses import dataclass
from uuid import UUID

from django.db.models import Prefetch, QuerySet

from clinic.enums import DocumentState
from clinic.errors import NotFound
from clinic.models import Document, DocumentVersion, Signature
from clinic.rules.access import Action, Actor
from clinic.rules.canonical import digest

SHOWN = Prefetch(
    "current_version",
    DocumentVersion.objects.select_related("verdict").prefetch_related("signatures", "flags"),
)


def documents_for(actor: Actor, action: Action = Action.SEE_NOTES) -> QuerySet[Document]:
    """Documents in her reach, with all that is shown of them already fetched."""
    return Document.objects.visible_to(actor, action).prefetch_related(SHOWN)


def document_for(actor: Actor, document_id: UUID, action: Action = Action.SEE_NOTES) -> Document:
    row = documents_for(actor, action).filter(pk=document_id).first()
    if row is None:
        raise NotFound
    return row


def readable(actor: Actor, ids: Collection[UUID]) -> list[Document]:
    """Those of these documents that she may read."""
    return list(Document.objects.visible_to(actor, Action.SEE_NOTES).filter(pk__in=ids)) if ids else []


def document_exists(document_id: UUID) -> bool:
    return Document.objects.filter(pk=document_id).exists()


def versions_of(document: Document) -> QuerySet[DocumentVersion]:
    return (
        DocumentVersion.objects.filter(document=document)
        .select_related("verdict")
        .prefetch_related("signatures", "flags")
    )


@dataclass(frozen=True)
class VersionCheck:
    """Whether one version is byte for byte what was signed, and follows from the one before."""

    number: int
    digest: str
    content_intact: bool
    chain_intact: bool
    signatures_intact: bool
    signature_count: int

    @property
    def intact(self) -> bool:
        return self.content_intact and self.chain_intact and self.signatures_intact


def verify(document: Document) -> list[VersionCheck]:
    """Recompute every digest of a document and hold versions, signatures and verdicts against each other."""
    found: list[VersionCheck] = []
    previous = ""
    for version in versions_of(document).order_by("number"):
        signatures = list(version.signatures.all())
        found.append(
            VersionCheck(
                number=version.number,
                digest=version.digest,
                content_intact=digest(bytes(version.content)) == version.digest,
                chain_intact=version.previous_digest == previous and version.number == len(found) + 1,
                signatures_intact=_signatures_hold(document, version, signatures),
                signature_count=len(signatures),
            )
        )
        previous = version.digest
    return found


def _signatures_hold(document: Document, version: DocumentVersion, signatures: list[Signature]) -> bool:
    """Each signature names this digest, the author's is there, and a co-signed state has its co-signature."""
    meanings = {signature.meaning for signature in signatures}
    cosigned = document.state == DocumentState.COSIGNED and version.pk == document.current_version_id
    return (
        all(signature.digest == version.digest for signature in signatures)
        and "authorship" in meanings
        and (not cosigned or "cosignature" in meanings)
    )
