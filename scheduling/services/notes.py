"""A participation's note and its addenda: put, signed, returned, co-signed; the doors of these kinds are here."""

from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import transaction

from clinic.enums import DocumentKind, DocumentState
from clinic.errors import Conflict, InvalidField, NotAllowed, RuleForbids, constraint_as_error
from clinic.models import Document, DocumentVersion, EnteredInError, Verdict
from clinic.rules.access import Actor
from clinic.rules.device_clock import RIGHT
from clinic.selectors.cosigning import supervision_of
from clinic.services import documents
from clinic.services.pins import PinProof
from goals.services import measurements
from scheduling.enums import VisitStatus
from scheduling.models import Participation, ParticipationNote
from scheduling.rules import notes as rules
from scheduling.rules.visits import OVER, minutes_between
from scheduling.selectors import notes as selectors
from scheduling.services import steps
from scheduling.services.note_flags import end_of, flags_at_signing
from scheduling.services.reach_of_bookings import end_reach_of_booking
from scheduling.services.visits import shows_more


class NoteExists(Conflict):
    code = "note_exists"
    title = "You have a note for this part of the visit already"


NOTE_EXISTS = {"note_once_per_participation_and_author": NoteExists, "note_follows_one_in_error_once": NoteExists}


@transaction.atomic
def begin_note(
    *,
    actor: Actor,
    note_id: UUID,
    body: dict[str, Any],
    digest: str,
    now: datetime,
    device_offset: timedelta = RIGHT,
) -> Document:
    """A new note for one's own visit, its measurements judged; nothing of it counts before it is signed."""
    participation = selectors.participation_to_document(actor, UUID(body["participation"]))
    if participation is None:
        raise InvalidField("/participation", "There is no such part of a visit in your reach", code="not_found")
    if not participation.is_hers:
        raise NotAllowed("You document the visits that you are booked for", code="not_own_visit")
    return document_participation(
        actor=actor,
        participation=participation,
        note_id=note_id,
        body=body,
        digest=digest,
        now=now,
        device_offset=device_offset,
    )


@transaction.atomic(savepoint=False)
def document_participation(
    *,
    actor: Actor,
    participation: Any,
    note_id: UUID,
    body: dict[str, Any],
    digest: str,
    now: datetime,
    author_id: UUID | None = None,
    moved_from: EnteredInError | None = None,
    device_offset: timedelta = RIGHT,
) -> Document:
    """The draft of a part's note, as it was found for its author: of whoever writes it, or of whoever wrote it
    first where it did not belong."""
    if participation.status == VisitStatus.ENTERED_IN_ERROR.value:
        raise Conflict("This part of a visit never was: it was entered in error", code="visit_in_error")
    if participation.her_note_id is not None:
        raise NoteExists(existing_id=str(participation.her_note_id))
    measurements.judge(
        actor_organization=actor.organization_id,
        episode=participation.episode,
        service_date=participation.service_date,
        raws=body.get("measurements", []),
    )
    document = documents.begin(
        actor=actor,
        document_id=note_id,
        episode=participation.episode,
        kind=DocumentKind.VISIT_NOTE,
        service_date=participation.service_date,
        draft=body,
        now=now,
        digest_of_body=digest,
        author_id=author_id,
    )
    with constraint_as_error(NOTE_EXISTS):
        ParticipationNote.objects.create(
            organization_id=document.organization_id,
            participation=participation,
            document=document,
            episode_id=document.episode_id,
            author_id=document.author_id,
            follows_id=participation.her_last_error_id,
            moved_from=moved_from,
        )
    shows_more(participation, device_offset=device_offset)
    return document


@transaction.atomic
def revise_note(
    *, actor: Actor, note: Document, body: dict[str, Any], now: datetime, device_offset: timedelta = RIGHT
) -> Document:
    """Change a draft, or prepare the next version of a returned note. The caller holds the lock."""
    link = note.participation_note
    if UUID(body["participation"]) != link.participation_id:
        raise InvalidField("/participation", "A note stays with its part of the visit", code="fixed")
    measurements.judge(
        actor_organization=actor.organization_id,
        episode=note.episode,
        service_date=note.service_date,
        raws=body.get("measurements", []),
    )
    if device_offset:
        shows_more(link.participation, device_offset=device_offset)
    return documents.revise(actor=actor, document=note, draft=body, now=now)


@transaction.atomic
def begin_addendum(*, actor: Actor, addendum_id: UUID, body: dict[str, Any], digest: str, now: datetime) -> Document:
    """A later addition to a final note of one's own; it may correct measurements, whose old values stay."""
    amended = selectors.note_to_amend(actor, UUID(body["amends"]))
    if amended is None:
        raise InvalidField("/amends", "There is no such note in your reach", code="not_found")
    if amended.author_id != actor.staff_id:
        raise documents.NotHers
    if not _is_final(amended):
        raise Conflict("Only a final note is amended; another is revised or returned", code="not_final")
    measurements.judge(
        actor_organization=actor.organization_id,
        episode=amended.episode,
        service_date=amended.service_date,
        raws=body.get("measurements", []),
        amends=amended,
    )
    return documents.begin(
        actor=actor,
        document_id=addendum_id,
        episode=amended.episode,
        kind=DocumentKind.ADDENDUM,
        service_date=amended.service_date,
        draft=body,
        now=now,
        digest_of_body=digest,
        amends=amended,
    )


def _is_final(document: Document) -> bool:
    signed_alone = document.state == DocumentState.SIGNED.value and not document.requires_cosignature
    return signed_alone or document.state == DocumentState.COSIGNED.value


@transaction.atomic
def revise_addendum(*, actor: Actor, addendum: Document, body: dict[str, Any], now: datetime) -> Document:
    if UUID(body["amends"]) != addendum.amends_id:
        raise InvalidField("/amends", "An addendum stays with its note", code="fixed")
    measurements.judge(
        actor_organization=actor.organization_id,
        episode=addendum.episode,
        service_date=addendum.service_date,
        raws=body.get("measurements", []),
        amends=addendum.amends,
    )
    return documents.revise(actor=actor, document=addendum, draft=body, now=now)


# --- Signing --------------------------------------------------------------------------------------------


@transaction.atomic
def sign_note(*, actor: Actor, note: Document, proof: PinProof, now: datetime) -> DocumentVersion:
    """Freeze and sign: the version, its measurements and the message that progress must follow, in one transaction."""
    documents.refuse_to_sign(actor=actor, document=note)
    body = note.draft or {}
    participation = selectors.participation_of(note)
    left_by = end_of(participation, now)
    _was_held(actor, participation, body, now)
    judged = measurements.judge(
        actor_organization=actor.organization_id,
        episode=note.episode,
        service_date=note.service_date,
        raws=body.get("measurements", []),
    )
    supervised = supervision_of(note.author_id, note.episode, today=actor.today) if note.requires_cosignature else None
    version = documents.sign(
        actor=actor,
        document=note,
        proof=proof,
        content=rules.note_content(note, participation, body),
        flags=flags_at_signing(note, participation, body, supervised, now, left_by=left_by),
        now=now,
        supervised=supervised,
    )
    measurements.write(
        version=version, document=note, judged=judged, site_id=participation.visit.site_id, recorded_at=now
    )
    end_reach_of_booking(
        visit=participation.visit, episode_id=note.episode_id, staff_id=note.author_id, today=actor.today
    )
    return version


def _was_held(actor: Actor, participation: Participation, body: dict[str, Any], now: datetime) -> None:
    """A signed note says that the visit took place; if nobody had said so yet, it does now."""
    status = VisitStatus(participation.status)
    if status == VisitStatus.ENTERED_IN_ERROR:
        raise Conflict("This part of a visit never was: it was entered in error", code="visit_in_error")
    if status in OVER:
        raise Conflict("The visit was called off: reinstate it first", code="visit_called_off")
    if participation.starts_at > now:
        raise RuleForbids("The visit has not begun", code="visit_not_begun")
    if status == VisitStatus.FULFILLED:
        return
    left_at = min(participation.ends_at, now)
    planned = minutes_between(participation.arrived_at or participation.starts_at, left_at)
    steps.finish(
        actor=actor,
        participation=participation,
        left_at=max(left_at, participation.arrived_at or participation.starts_at),
        minutes=body.get("minutes", planned),
        ended_early="",
        now=now,
    )


@transaction.atomic
def sign_addendum(*, actor: Actor, addendum: Document, proof: PinProof, now: datetime) -> DocumentVersion:
    """Freeze and sign an addendum; measurements that it corrects count from now on in place of the old ones."""
    documents.refuse_to_sign(actor=actor, document=addendum)
    body = addendum.draft or {}
    judged = measurements.judge(
        actor_organization=actor.organization_id,
        episode=addendum.episode,
        service_date=addendum.service_date,
        raws=body.get("measurements", []),
        amends=addendum.amends,
    )
    version = documents.sign(
        actor=actor,
        document=addendum,
        proof=proof,
        content=rules.addendum_content(addendum, body),
        flags=[],
        now=now,
    )
    measurements.write(version=version, document=addendum, judged=judged, site_id=None, recorded_at=now)
    return version


# --- Verdicts -------------------------------------------------------------------------------------------


@transaction.atomic
def cosign(*, actor: Actor, document: Document, proof: PinProof, fetched_digest: str, now: datetime) -> Verdict:
    """Co-sign the version that she read."""
    return documents.cosign(actor=actor, document=document, proof=proof, fetched_digest=fetched_digest, now=now)


@transaction.atomic
def send_back(
    *, actor: Actor, document: Document, proof: PinProof, fetched_digest: str, reason: str, now: datetime
) -> Verdict:
    """Return it with a reason; its content becomes the draft of the next version."""
    version = document.current_version
    return documents.send_back(
        actor=actor,
        document=document,
        proof=proof,
        fetched_digest=fetched_digest,
        reason=reason,
        draft=rules.body_of(bytes(version.content)) if version else {},
        now=now,
    )
