"""Reads around notes: the part of a visit that one documents, notes in reach with what is shown of them."""

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from django.db.models import Exists, OuterRef, QuerySet, Subquery, prefetch_related_objects

from clinic.enums import DocumentKind
from clinic.errors import NotFound
from clinic.models import Document, EnteredInError
from clinic.models.reach import reach_of_episodes
from clinic.rules.access import Action, Actor
from clinic.selectors.documents import documents_for
from scheduling.models import Booking, Participation, ParticipationNote, Visit
from scheduling.rules import corrections as rules


def participation_to_document(actor: Actor, participation_id: UUID) -> Any:
    """The part in reach, with whether its visit is booked for her and which note of it she has already."""
    rows = Participation.objects.visible_to(actor, Action.WRITE_NOTES).select_related("episode")
    return rows.annotate(**_as_documented_by(actor.person)).filter(pk=participation_id).first()


def participation_to_move_to(actor: Actor, participation_id: UUID, author_id: UUID) -> Any:
    """The part that somebody else's note belongs to, in reach of whoever says so, as its author would document it."""
    reached = reach_of_episodes(actor, Action.CORRECT_NOTES, path="episode_id")
    rows = Participation.objects.filter(reached).select_related("episode", "visit")
    return rows.annotate(**_as_documented_by(author_id)).filter(pk=participation_id).first()


def _as_documented_by(author_id: UUID) -> dict[str, Any]:
    """Whether the part's visit is booked for her, which note of it she has, and which of hers was in error last."""
    booked = Booking.objects.filter(visit=OuterRef("visit"), staff_id=author_id, superseded=False)
    hers = ParticipationNote.objects.standing().filter(participation=OuterRef("pk"), author_id=author_id)
    return {
        "is_hers": Exists(booked),
        "her_note_id": Subquery(hers.values("document_id")[:1]),
        "her_last_error_id": Subquery(errors_of(author_id).values("pk")[:1]),
    }


def her_note_of(actor: Actor, participation_id: UUID) -> UUID:
    """The note that she has for this part of a visit."""
    hers = ParticipationNote.objects.standing().filter(participation=participation_id, author_id=actor.person)
    return hers.values_list("document_id", flat=True).get()


def errors_of(author_id: UUID) -> QuerySet[EnteredInError]:
    """What was entered in error of one author's notes of a part, the last first."""
    of_part = {"document__participation_note__participation": OuterRef("pk"), "document__author_id": author_id}
    return EnteredInError.objects.filter(**of_part).order_by("-at", "-pk")


def participation_of(note: Document) -> Participation:
    """The part of a visit that a note documents, with the visit's lock: signing may say that it was held."""
    part = note.participation_note.participation
    Visit.objects.select_for_update(of=("self",), no_key=True).values_list("pk").get(pk=part.visit_id)
    return Participation.objects.select_related("visit__site", "episode").get(pk=part.pk)


def part_documented(note: Document) -> Participation:
    """The part of a visit that a note documents, for reading."""
    return Participation.objects.select_related("visit__site", "episode").get(notes__document=note)


def note_to_amend(actor: Actor, note_id: UUID) -> Document | None:
    """The note in reach, locked: nobody says meanwhile that it is in error."""
    rows = Document.objects.visible_to(actor, Action.SEE_NOTES).select_related("episode", "current_version")
    note = rows.filter(pk=note_id, kind=DocumentKind.VISIT_NOTE.value)
    return note.select_for_update(of=("self",), no_key=True).first()


def notes_for(actor: Actor, *, kind: DocumentKind) -> QuerySet[Document]:
    """Notes (or addenda) in her reach, with version, signatures, verdict, flags and part of the visit fetched.

    `of_another` is true where it was said in error and belongs to an episode that she does not reach.
    """
    rows = documents_for(actor).filter(kind=kind.value)
    rows = rows.annotate(of_another=_moved_out_of_reach(actor, kind))
    return rows.select_related("participation_note__participation", "error")


def withhold(actor: Actor, note: Any, versions: Iterable[Any]) -> None:
    """Mark versions that are not shown to her: what was written of a child whom she does not reach, moved out of here.

    Who wrote or signed one, or said that it was in error, still reads it.
    """
    if note.error is None or not note.of_another:
        return
    for version in versions:
        version.withheld = rules.is_withheld(
            reader_id=actor.staff_id,
            author_id=note.author_id,
            said_by_id=note.error.by_id,
            signer_ids={signature.signer_id for signature in version.signatures.all()},
        )


def _moved_out_of_reach(actor: Actor, kind: DocumentKind) -> Exists:
    error = "amends__error" if kind == DocumentKind.ADDENDUM else "error"
    moved = ParticipationNote.objects.filter(moved_from=OuterRef(error))
    return Exists(moved.exclude(reach_of_episodes(actor, Action.SEE_NOTES, path="episode_id")))


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
    if kind == DocumentKind.ADDENDUM:
        # Its note before it, in the order in which entering that one in error locks them.
        amended = Document.objects.filter(addenda=note_id).values("pk")
        list(Document.objects.select_for_update(of=("self",), no_key=True).filter(pk__in=amended).values_list("pk"))
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
