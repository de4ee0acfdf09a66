"""Reads around notes: the part of a visit that one documents, notes in reach with what is shown of them."""

from typing import Any
from uuid import UUID

from django.db.models import Exists, OuterRef, QuerySet, Subquery, prefetch_related_objects

from clinic.enums import DocumentKind
from clinic.errors import NotFound
from clinic.models import Document
from clinic.rules.access import Action, Actor
from clinic.selectors.documents import documents_for
from scheduling.models import Booking, Participation, ParticipationNote, Visit


def participation_to_document(actor: Actor, participation_id: UUID) -> Any:
    """The part in reach, with whether its visit is booked for her and which note of it she has already."""
    booked = Booking.objects.filter(visit=OuterRef("visit"), staff_id=actor.person, superseded=False)
    hers = ParticipationNote.objects.filter(participation=OuterRef("pk"), author_id=actor.person)
    return (
        Participation.objects.visible_to(actor, Action.WRITE_NOTES)
        .select_related("episode")
        .annotate(is_hers=Exists(booked), her_note_id=Subquery(hers.values("document_id")[:1]))
        .filter(pk=participation_id)
        .first()
    )


def her_note_of(actor: Actor, participation_id: UUID) -> UUID:
    """The note that she has for this part of a visit."""
    hers = ParticipationNote.objects.filter(participation=participation_id, author_id=actor.person)
    return hers.values_list("document_id", flat=True).get()


def participation_of(note: Document) -> Participation:
    """The part of a visit that a note documents, with the visit's lock: signing may say that it was held."""
    part = note.participation_note.participation
    Visit.objects.select_for_update(of=("self",), no_key=True).values_list("pk").get(pk=part.visit_id)
    return Participation.objects.select_related("visit__site", "episode").get(pk=part.pk)


def part_documented(note: Document) -> Participation:
    """The part of a visit that a note documents, for reading."""
    return Participation.objects.select_related("visit__site", "episode").get(notes__document=note)


def note_to_amend(actor: Actor, note_id: UUID) -> Document | None:
    rows = Document.objects.visible_to(actor, Action.SEE_NOTES).select_related("episode", "current_version")
    return rows.filter(pk=note_id, kind=DocumentKind.VISIT_NOTE.value).first()


def notes_for(actor: Actor, *, kind: DocumentKind) -> QuerySet[Document]:
    """Notes (or addenda) in her reach, with version, signatures, verdict, flags and part of the visit fetched."""
    return documents_for(actor).filter(kind=kind.value).select_related("participation_note__participation")


def note_for(actor: Actor, note_id: UUID, *, kind: DocumentKind) -> Document:
    row = notes_for(actor, kind=kind).filter(pk=note_id).first()
    if row is None:
        raise NotFound
    return row


def require_note(actor: Actor, note_id: UUID, *, kind: DocumentKind) -> None:
    """Refuse with NotFound what is not there, or out of reach."""
    if not Document.objects.visible_to(actor, Action.SEE_NOTES).filter(pk=note_id, kind=kind.value).exists():
        raise NotFound


def with_signatures(note: Document) -> Document:
    """A note as it was just signed, with what is shown of its version read."""
    prefetch_related_objects([note], "current_version__signatures", "current_version__flags")
    return note


def note_to_change(actor: Actor, note_id: UUID, *, kind: DocumentKind) -> Document:
    """The note in reach, locked. Reading reach is enough to be told what may not be done to it."""
    row = (
        Document.objects.visible_to(actor, Action.SEE_NOTES)
        .filter(pk=note_id, kind=kind.value)
        .select_related("organization", "episode__site", "participation_note__participation")
        .select_for_update(of=("self",), no_key=True)
        .first()
    )
    if row is None:
        raise NotFound
    return row
