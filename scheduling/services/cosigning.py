"""Several versions co-signed at once: one PIN, a savepoint each, so that one refusal undoes nothing of the others."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from uuid import UUID

from django.db import transaction

from clinic.errors import DomainError, NotFound
from clinic.models import Document
from clinic.rules.access import Actor
from clinic.services import documents
from clinic.services.pins import PinProof
from scheduling.selectors import cosign_queue as selectors

MOST_AT_ONCE = 50


class Outcome(StrEnum):
    COSIGNED = "cosigned"
    REFUSED = "refused"


@dataclass(frozen=True)
class Answer:
    """What became of one item; the row is there only where it is in her reach."""

    document: UUID
    outcome: Outcome
    code: str = ""
    detail: str = ""
    row: Document | None = None

    @property
    def kind(self) -> str | None:
        return self.row.kind if self.row else None

    @property
    def state(self) -> str | None:
        return self.row.state if self.row else None

    @property
    def version(self) -> int | None:
        return self.row.version if self.row else None


@transaction.atomic
def cosign_several(*, actor: Actor, asked: Mapping[UUID, str], proof: PinProof, now: datetime) -> list[Answer]:
    """Co-sign each version of which she sends the digest that she read; answers in the order of asking."""
    # Locks are taken in the order of ids, so that two who ask for the same never wait for each other.
    answers = {
        document_id: _cosign_one(actor, document_id, asked[document_id], proof, now) for document_id in sorted(asked)
    }
    return [answers[document_id] for document_id in asked]


def _cosign_one(actor: Actor, document_id: UUID, digest: str, proof: PinProof, now: datetime) -> Answer:
    row = selectors.document_to_decide(actor, document_id)
    if row is None:
        return _refused(document_id, NotFound())
    try:
        with transaction.atomic():
            documents.cosign(actor=actor, document=row, proof=proof, fetched_digest=digest, now=now)
    except DomainError as refusal:
        return _refused(document_id, refusal, selectors.document_to_decide(actor, document_id))
    return Answer(document_id, Outcome.COSIGNED, row=row)


def _refused(document_id: UUID, refusal: DomainError, row: Document | None = None) -> Answer:
    return Answer(document_id, Outcome.REFUSED, code=refusal.code, detail=refusal.detail, row=row)
