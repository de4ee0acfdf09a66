"""Reads around notes: the part of a visit that one documents, notes in reach with what is shown of them."""

from uuid import UUID

from django.db.models import QuerySet

from clinic.enums import DocumentKind
from clinic.errors import NotFound
from clinic.models import Document
from clinic.rules.access import Action, Actor
from clinic.selectors.documents import documents_for
from scheduling.models import Participation, Visit


def participation_to_document(actor: Actor, participation_id: UUID) -> Participation | None:
    return (
        Participation.objects.visible_to(actor, Action.WRITE_NOTES)
        .select_related("visit__site", "episode")
        .filter(pk=participation_id)
        .first()
    )


def participation_of(note: Document) -> Participation:
    """The part of a visit that a note documents, with the visit's lock: signing may say that it was held."""
    Visit.objects.select_for_update(of=("self",), no_key=True).get(participations__notes__document=note)
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


def note_to_change(actor: Actor, note_id: UUID, *, kind: DocumentKind) -> Document:
    """The note in reach, locked. Reading reach is enough to be told what may not be done to it."""
    row = (
        Document.objects.visible_to(actor, Action.SEE_NOTES)
        .filter(pk=note_id, kind=kind.value)
        .select_for_update(of=("self",), no_key=True)
        .first()
    )
    if row is None:
        raise NotFound
    return row
