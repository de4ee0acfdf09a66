"""When a visit took place is put right afterwards: it counts on its right day, and so does what was measured in it."""

from collections.abc import Iterable
from datetime import date, datetime
from uuid import UUID

from django.db import transaction
from uuid_utils.compat import uuid7

from clinic import outbox
from clinic.enums import DocumentState
from clinic.errors import Conflict, InvalidField, NotAllowed, RuleForbids
from clinic.models import Document
from clinic.rules.access import Actor
from clinic.services.pins import PinProof
from scheduling.enums import VisitKind, VisitMode, VisitStatus
from scheduling.models import Booking, Participation, Visit, VisitCorrection
from scheduling.rules import visit_corrections as rules
from scheduling.rules.visits import NOT_COMING, service_date_of
from scheduling.selectors import notes as note_selectors
from scheduling.services import corrections
from scheduling.services.bookings import free_the_rest, hold
from scheduling.services.reach_of_bookings import put_on_care_teams
from scheduling.services.wanted import Place, Wanted

HELD = (VisitStatus.CHECKED_IN.value, VisitStatus.FULFILLED.value)
FINAL = (DocumentState.SIGNED.value, DocumentState.COSIGNED.value)


@transaction.atomic
def correct_times(
    *,
    actor: Actor,
    visit: Visit,
    starts_at: datetime,
    ends_at: datetime,
    reason: str,
    proof: PinProof | None,
    now: datetime,
) -> Visit:
    """When it was; the caller holds its lock. What was signed for another day is in error, and a draft once more.

    That needs a therapist and her PIN. Whoever wrote it signs again, as a late entry, for the right day.
    """
    _refuse(visit, starts_at, ends_at, now)
    was, becomes = rules.Span(visit.starts_at, visit.ends_at), rules.Span(starts_at, ends_at)
    parts = list(visit.participations.select_related("episode__client").order_by("pk"))
    day = service_date_of(starts_at, visit.site.time_zone)
    _refuse_before_birth(parts, day)
    notes = _notes_of(visit)
    signed = [note for note in notes if note.state in FINAL] if day != visit.service_date else []
    _require_proof_for(signed, proof)
    _keep(actor, visit, reason, now)
    _set_times(visit, parts, was, becomes, now)
    _hold_again(actor, visit, parts)
    for note in notes:
        if note in signed and proof is not None:
            _sign_again(actor, note, proof, reason, now)
        elif note.state not in FINAL:
            _follow(note, day)
    _put_in_reach(visit, parts, {note.author_id for note in notes if note.state in FINAL})
    outbox.changed("visit", visit)
    return visit


def _refuse(visit: Visit, starts_at: datetime, ends_at: datetime, now: datetime) -> None:
    if visit.status not in HELD:
        detail = "A booked visit is moved, one that was called off is reinstated first"
        raise Conflict(detail, code="visit_not_held", status_now=visit.status)
    if ends_at <= starts_at:
        raise InvalidField("/ends_at", "A visit ends after it starts", code="ends_before_start")
    if (ends_at - starts_at).total_seconds() > 12 * 3600:
        raise InvalidField("/ends_at", "A visit takes at most twelve hours", code="too_long")
    if starts_at > now:
        raise InvalidField("/starts_at", "This lies in the future", code="in_the_future")
    if (starts_at, ends_at) == (visit.starts_at, visit.ends_at):
        raise InvalidField("/starts_at", "These are its times already", code="same")


def _refuse_before_birth(parts: Iterable[Participation], day: date) -> None:
    if any(day < part.episode.client.birth_date for part in parts):
        raise InvalidField("/starts_at", "The child was not born yet on that day", code="before_birth")


def _notes_of(visit: Visit) -> list[Document]:
    """The notes of its parts that are not in error, locked."""
    standing = Document.objects.filter(participation_note__participation__visit=visit)
    standing = standing.exclude(state=DocumentState.ENTERED_IN_ERROR.value).select_related("participation_note")
    return list(standing.select_for_update(of=("self",), no_key=True).order_by("pk"))


def _require_proof_for(signed: list[Document], proof: PinProof | None) -> None:
    if signed and proof is None:
        detail = "What was signed for that day becomes a draft again: a therapist says so with her PIN"
        raise RuleForbids(detail, code="pin_needed", pointer="/pin")


def _keep(actor: Actor, visit: Visit, reason: str, now: datetime) -> None:
    VisitCorrection.objects.create(
        organization_id=visit.organization_id,
        visit=visit,
        was_starts_at=visit.starts_at,
        was_ends_at=visit.ends_at,
        was_service_date=visit.service_date,
        at=now,
        by_id=actor.person,
        reason=reason,
    )


def _set_times(visit: Visit, parts: list[Participation], was: rules.Span, becomes: rules.Span, now: datetime) -> None:
    zone = visit.site.time_zone
    visit.starts_at, visit.ends_at = becomes.starts_at, becomes.ends_at
    visit.service_date = service_date_of(becomes.starts_at, zone)
    for part in parts:
        span = rules.part_put_right(rules.Span(part.starts_at, part.ends_at), was=was, becomes=becomes)
        part.starts_at, part.ends_at, part.service_date = span.starts_at, span.ends_at, visit.service_date
        part.arrived_at = rules.seen_put_right(part.arrived_at, was=was, becomes=becomes, time_zone=zone, now=now)
        part.left_at = rules.seen_put_right(part.left_at, was=was, becomes=becomes, time_zone=zone, now=now)
        part.version += 1
        part.save()
        outbox.changed("participation", part, client_id=part.client_id, episode_id=part.episode_id)
    visit.arrived_at = min((part.arrived_at for part in parts if part.arrived_at), default=None)
    if visit.finished_at is not None:
        visit.finished_at = max((part.left_at for part in parts if part.left_at), default=None)
    visit.sequence += 1
    visit.version += 1
    visit.save()


def _hold_again(actor: Actor, visit: Visit, parts: list[Participation]) -> None:
    """What it held is held at its right time; nobody's other booking refuses what was."""
    before = Booking.objects.filter(visit=visit, superseded=False).select_related("staff", "room")
    staff = [row.staff for row in before if row.staff]
    rooms = [row.room for row in before if row.room]
    Booking.objects.filter(visit=visit, superseded=False).update(live=False, superseded=True)
    coming = [part for part in parts if VisitStatus(part.status) not in NOT_COMING]
    wanted = Wanted(
        site=visit.site,
        kind=VisitKind(visit.kind),
        mode=VisitMode(visit.mode),
        place=visit.place,
        starts_at=visit.starts_at,
        ends_at=visit.ends_at,
        staff=staff,
        rooms=rooms,
        children=[Place(part.pk, part.episode, part.starts_at, part.ends_at, goals=[]) for part in coming],
    )
    hold(actor, visit, wanted, ahead=False)
    for part in coming:
        if part.left_at is not None:
            part.visit = visit
            free_the_rest(part, part.left_at)


def _sign_again(actor: Actor, note: Document, proof: PinProof, reason: str, now: datetime) -> None:
    """In error for the day for which it was signed; for the right day a draft of its author's."""
    part_id = note.participation_note.participation_id
    part = note_selectors.participation_to_move_to(actor, part_id, note.author_id)
    if part is None:
        raise NotAllowed("A note of this visit is out of your reach", code="note_out_of_reach")
    corrections.enter_in_error(actor=actor, document=note, proof=proof, reason=reason, now=now)
    part = note_selectors.participation_to_move_to(actor, part_id, note.author_id)
    corrections.write_again(actor=actor, note=note, participation=part, moved_id=uuid7(), goals={}, now=now)


def _follow(note: Document, day: date) -> None:
    """What is still to be signed is signed for the right day."""
    note.service_date = day
    note.version += 1
    note.save(update_fields=["service_date", "version"])
    outbox.changed("document", note, client_id=note.client_id, episode_id=note.episode_id)


def _put_in_reach(visit: Visit, parts: Iterable[Participation], done: set[UUID]) -> None:
    """Who has yet to sign reaches the children from before the right day on."""
    booked = Booking.objects.filter(visit=visit, superseded=False, staff__isnull=False).exclude(staff__in=done)
    episodes = [part.episode_id for part in parts if VisitStatus(part.status) not in NOT_COMING]
    put_on_care_teams(visit, episodes=episodes, staff=list(booked.values_list("staff_id", flat=True)))
