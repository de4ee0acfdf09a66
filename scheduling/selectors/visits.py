"""Reads of visits and participations, already scoped to who asks."""

from collections.abc import Collection, Iterable
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db.models import Prefetch, Q, QuerySet
from psycopg.types.range import Range

from clinic.enums import Role
from clinic.errors import NotFound
from clinic.models import Episode, Room, Site, Staff, StaffRole
from clinic.rules.access import Action, Actor
from scheduling.models import (
    Booking,
    Participation,
    ParticipationChange,
    ParticipationNote,
    Visit,
    VisitCorrection,
)
from scheduling.selectors.planned import STANDING

VISIT_FILTERS = {
    "service_date": "service_date",
    "service_date_from": "service_date__gte",
    "service_date_until": "service_date__lte",
    "site": "site_id",
    "status": "status",
}


def visits_for(actor: Actor, action: Action = Action.SEE_VISITS) -> QuerySet[Visit]:
    """Visits in her reach, with the participations that she may see and who is booked."""
    return (
        Visit.objects.visible_to(actor, action)
        .select_related("site")
        .prefetch_related(
            Prefetch("participations", participations_for(actor, action).order_by("starts_at", "pk")),
            Prefetch("bookings", Booking.objects.filter(superseded=False).order_by("pk")),
            Prefetch("corrections", VisitCorrection.objects.order_by("-at", "-pk")),
        )
    )


def visit_for(actor: Actor, visit_id: UUID, action: Action = Action.SEE_VISITS) -> Visit:
    row = visits_for(actor, action).filter(pk=visit_id).first()
    if row is None:
        raise NotFound
    return row


def visit_to_change(actor: Actor, visit_id: UUID, action: Action) -> Visit:
    """The visit in reach for this change, locked."""
    row = (
        Visit.objects.visible_to(actor, action).filter(pk=visit_id).select_for_update(of=("self",), no_key=True).first()
    )
    if row is None:
        raise NotFound
    return row


def visit_exists(visit_id: UUID) -> bool:
    return Visit.objects.filter(pk=visit_id).exists()


def participations_for(actor: Actor, action: Action = Action.SEE_VISITS) -> QuerySet[Participation]:
    notes = Prefetch("notes", ParticipationNote.objects.standing())
    return Participation.objects.visible_to(actor, action).prefetch_related(notes, STANDING)


def participation_for(actor: Actor, participation_id: UUID, action: Action = Action.SEE_VISITS) -> Participation:
    row = participations_for(actor, action).select_related("visit").filter(pk=participation_id).first()
    if row is None:
        raise NotFound
    return row


def steps_of(part: Participation) -> QuerySet[ParticipationChange]:
    """The steps of a part that she reaches."""
    return ParticipationChange.objects.filter(participation=part)


def participation_to_change(actor: Actor, participation_id: UUID, action: Action) -> Participation:
    """The participation in reach for this change; its visit's row is the lock of both."""
    row = participation_for(actor, participation_id, action)
    Visit.objects.select_for_update(of=("self",), no_key=True).get(pk=row.visit_id)
    return Participation.objects.select_related("visit", "visit__site", "episode").get(pk=row.pk)


def sites_in(actor: Actor, ids: Collection[UUID]) -> dict[UUID, Site]:
    return {row.pk: row for row in Site.objects.of(actor).filter(pk__in=ids)}


def rooms_in(actor: Actor, ids: Collection[UUID]) -> dict[UUID, Room]:
    return {row.pk: row for row in Room.objects.of(actor).filter(pk__in=ids)}


def staff_in(actor: Actor, ids: Collection[UUID]) -> dict[UUID, Staff]:
    return {row.pk: row for row in Staff.objects.of(actor).filter(pk__in=ids)}


def episodes_in(actor: Actor, ids: Collection[UUID], action: Action) -> dict[UUID, Episode]:
    rows = Episode.objects.visible_to(actor, action).select_related("site", "client").filter(pk__in=ids)
    return {row.pk: row for row in rows}


def roles_on(staff_ids: Collection[UUID], day: date) -> dict[UUID, set[Role]]:
    """The roles that each of these people holds on that day; one query."""
    found: dict[UUID, set[Role]] = {pk: set() for pk in staff_ids}
    for row in StaffRole.objects.in_force(day).filter(staff_id__in=staff_ids):
        found[row.staff_id].add(Role(row.role))
    return found


def collisions(*, visit_id: UUID, wanted: Iterable[Booking]) -> list[Booking]:
    """Live bookings of other visits that overlap these."""
    condition = Q(pk__in=[])
    for row in wanted:
        during = Q(during__overlap=row.during)
        if row.staff_id:
            condition |= during & Q(staff_id=row.staff_id)
        elif row.client_id:
            condition |= during & Q(client_id=row.client_id)
        else:
            condition |= during & Q(room_id=row.room_id, place=row.place)
    return list(Booking.objects.filter(condition, live=True).exclude(visit_id=visit_id).order_by("during", "pk"))


def half_open(start: datetime, end: datetime) -> Range:
    """From start, to but not including end."""
    return Range(start, end, "[)")


def places_taken(*, visit_id: UUID, room_id: UUID, during: Range) -> set[int]:
    rows = Booking.objects.filter(room_id=room_id, live=True, during__overlap=during).exclude(visit_id=visit_id)
    return {place for place in rows.values_list("place", flat=True) if place is not None}


def visits_matching(
    actor: Actor, *, client: UUID | None = None, staff: UUID | None = None, **chosen: Any
) -> QuerySet[Visit]:
    """Visits in reach by what was asked; a child or a colleague narrows by rows that are in reach themselves."""
    rows = visits_for(actor).filter(**{VISIT_FILTERS[name]: value for name, value in chosen.items()})
    if client is not None:
        rows = rows.filter(pk__in=participations_for(actor).filter(client_id=client).values("visit_id"))
    if staff is not None:
        rows = rows.filter(pk__in=_visits_of(staff))
    return rows


def _visits_of(staff_id: UUID) -> QuerySet[Any, Any]:
    return Booking.objects.filter(staff_id=staff_id, superseded=False).values("visit_id")


def participations_matching(
    actor: Actor, *, client: UUID | None = None, staff: UUID | None = None, **chosen: Any
) -> QuerySet[Participation]:
    names = {**VISIT_FILTERS, "site": "visit__site_id"}
    rows = participations_for(actor).filter(**{names[name]: value for name, value in chosen.items()})
    if client is not None:
        rows = rows.filter(client_id=client)
    if staff is not None:
        rows = rows.filter(visit_id__in=_visits_of(staff))
    return rows
