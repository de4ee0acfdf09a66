"""Who may sign, co-sign or return a document in its present state; each answer names the refusal."""

from collections.abc import Collection
from enum import StrEnum
from uuid import UUID

from clinic.enums import DocumentState

OPEN_FOR_SIGNING = frozenset({DocumentState.DRAFT, DocumentState.RETURNED})


class SignRefusal(StrEnum):
    """Why a document may not be signed."""

    ALREADY_SIGNED = "already_signed"
    ENTERED_IN_ERROR = "entered_in_error"
    NOT_AUTHOR = "not_author"


class VerdictRefusal(StrEnum):
    """Why a version may not be co-signed or returned."""

    NOT_SIGNED = "not_signed"
    ALREADY_COSIGNED = "already_cosigned"
    OWN_DOCUMENT = "own_document"
    NOT_SUPERVISOR = "not_supervisor_on_visit_day"
    VERSION_CHANGED = "version_changed"
    REASON_MISSING = "reason_missing"
    NOT_OPENED = "not_opened"
    FLAGGED_SINCE = "flagged_since_opened"


def sign_refusal(*, state: DocumentState, author_id: UUID, signer_id: UUID) -> SignRefusal | None:
    """Why this person may not sign this document, or None: only its author, only as a draft or returned."""
    if state == DocumentState.ENTERED_IN_ERROR:
        return SignRefusal.ENTERED_IN_ERROR
    if state not in OPEN_FOR_SIGNING:
        return SignRefusal.ALREADY_SIGNED
    if signer_id != author_id:
        return SignRefusal.NOT_AUTHOR
    return None


def cosign_refusal(
    *,
    state: DocumentState,
    author_id: UUID,
    signer_id: UUID,
    eligible_ids: Collection[UUID],
    fetched_digest: str,
    current_digest: str,
) -> VerdictRefusal | None:
    """Why this person may not co-sign the version that she read, or None when she may."""
    if state == DocumentState.COSIGNED:
        return VerdictRefusal.ALREADY_COSIGNED
    if state != DocumentState.SIGNED:
        return VerdictRefusal.NOT_SIGNED
    if signer_id == author_id:
        return VerdictRefusal.OWN_DOCUMENT
    if signer_id not in eligible_ids:  # those of the service date
        return VerdictRefusal.NOT_SUPERVISOR
    if fetched_digest != current_digest:
        return VerdictRefusal.VERSION_CHANGED
    return None


def return_refusal(
    *,
    state: DocumentState,
    author_id: UUID,
    signer_id: UUID,
    eligible_ids: Collection[UUID],
    fetched_digest: str,
    current_digest: str,
    reason: str,
) -> VerdictRefusal | None:
    """Why this person may not return the version that she read, or None: as for co-signing, with a reason."""
    refusal = cosign_refusal(
        state=state,
        author_id=author_id,
        signer_id=signer_id,
        eligible_ids=eligible_ids,
        fetched_digest=fetched_digest,
        current_digest=current_digest,
    )
    if refusal is None and not reason.strip():
        return VerdictRefusal.REASON_MISSING
    return refusal


def opening_refusal(*, opened: bool, flags_shown: int, flags_now: int) -> VerdictRefusal | None:
    """Why what she read is not what she would sign, or None: she opened the version, with every flag that it has."""
    if not opened:
        return VerdictRefusal.NOT_OPENED
    return VerdictRefusal.FLAGGED_SINCE if flags_now > flags_shown else None
