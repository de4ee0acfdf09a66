"""What visits hold, and whom they put in reach: staff, children and room places, and places on care teams."""

from datetime import UTC, datetime
from typing import Any
from uuid import UUID

from django.db import connection
from django.db.models import Q, QuerySet

from clinic.errors import Conflict, constraint_as_error
from clinic.models import Room
from clinic.rules.access import Actor
from scheduling.enums import VisitStatus
from scheduling.models import Booking, Participation, Visit
from scheduling.rules.visits import NOT_COMING
from scheduling.selectors import visits as selectors
from scheduling.services.wanted import Wanted


class Overlaps(Conflict):
    code = "booking_overlaps"
    title = "Somebody or some place is taken at that time"


OVERLAPS = {
    "booking_no_overlap_per_staff": Overlaps,
    "booking_no_overlap_per_client": Overlaps,
    "booking_no_overlap_per_room_place": Overlaps,
}


def hold(actor: Actor, visit: Visit, wanted: Wanted, *, ahead: bool) -> None:
    """Take every resource at once: sorted locks and a look first make the refusal kind, the constraints decide.

    What took place is recorded also where somebody was held elsewhere: that one overlaps, and holds nothing.
    """
    whole = selectors.half_open(wanted.starts_at, wanted.ends_at)
    rows = [_booking(visit, whole, staff_id=person.pk) for person in wanted.staff]
    rows += [
        _booking(visit, selectors.half_open(child.starts_at, child.ends_at), client_id=child.episode.client_id)
        for child in wanted.children
    ]
    _lock([*(str(row.staff_id or row.client_id) for row in rows), *(str(room.pk) for room in wanted.rooms)])
    rows += [_room_place(visit, room, whole) for room in wanted.rooms]
    _settle_overlaps(actor, visit, rows, ahead=ahead)
    with constraint_as_error(OVERLAPS):
        Booking.objects.bulk_create(rows)


def _settle_overlaps(actor: Actor, visit: Visit, wanted: list[Booking], *, ahead: bool) -> None:
    """Refused ahead; afterwards each that is held elsewhere is marked so. Whatever else collides, the table refuses."""
    found = selectors.collisions(visit_id=visit.pk, wanted=wanted)
    if found and ahead:
        raise Overlaps(collides_with=_told(actor, found[:20], wanted=wanted))
    for row in wanted:
        row.overlapped = any(_hold_the_same(row, other) for other in found)
        row.live = not row.overlapped


def _hold_the_same(one: Booking, other: Booking) -> bool:
    return (_resource(one), one.place) == (_resource(other), other.place) and _overlap(one.during, other.during)


def _booking(visit: Visit, during: Any, **resource: Any) -> Booking:
    return Booking(organization_id=visit.organization_id, visit=visit, during=during, **resource)


def _room_place(visit: Visit, room: Room, during: Any) -> Booking:
    return _booking(visit, during, room_id=room.pk, place=_free_place(visit, room, during))


def _free_place(visit: Visit, room: Room, during: Any) -> int:
    taken = selectors.places_taken(visit_id=visit.pk, room_id=room.pk, during=during)
    return next((place for place in range(1, room.places + 1) if place not in taken), 1)


def _lock(resources: list[str]) -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT pg_advisory_xact_lock(hashtextextended(held, 1)) FROM unnest(%s::text[]) AS held",
            [sorted(set(resources))],
        )


def _told(actor: Actor, found: list[Booking], *, wanted: list[Booking]) -> list[dict[str, Any]]:
    """What collides, without saying who or why: a time and the kind of resource.

    Of a visit out of her reach she learns no more than which part of the time that she asked for is taken.
    """
    reached = set(
        selectors.visits_for(actor).filter(pk__in={row.visit_id for row in found}).values_list("pk", flat=True)
    )
    told = []
    for row in found:
        starts_at, ends_at = row.during.lower, row.during.upper
        if row.visit_id not in reached:
            asked = next(
                one.during for one in wanted if _resource(one) == _resource(row) and _overlap(one.during, row.during)
            )
            starts_at, ends_at = max(starts_at, asked.lower).astimezone(UTC), min(ends_at, asked.upper).astimezone(UTC)
        kind, resource_id = _resource(row)
        told.append({"resource": kind, "id": str(resource_id), "starts_at": starts_at, "ends_at": ends_at})
    return told


def _resource(row: Booking) -> tuple[str, UUID | None]:
    if row.staff_id:
        return "staff", row.staff_id
    return ("client", row.client_id) if row.client_id else ("room", row.room_id)


def _overlap(one: Any, other: Any) -> bool:
    return one.lower < other.upper and other.lower < one.upper


def free_the_rest(row: Participation, left_at: datetime) -> None:
    """What was held beyond the time that was used becomes free: somebody's next visit may have begun then."""
    held = Booking.objects.filter(visit_id=row.visit_id, live=True)
    if left_at < row.ends_at:
        _hold_until(held.filter(client_id=row.client_id), left_at)
    over = row.visit.finished_at
    if over is not None and over < row.visit.ends_at:
        _hold_until(held.filter(client__isnull=True), over)


def _hold_until(rows: QuerySet[Booking], end: datetime) -> None:
    for row in rows:
        if row.during.lower < end < row.during.upper:
            row.during = selectors.half_open(row.during.lower, end)
            row.save(update_fields=["during"])


def release(row: Participation) -> None:
    """Free the child's time; when nobody is left in the visit, everything that it held."""
    held = Booking.objects.filter(visit_id=row.visit_id, live=True)
    if VisitStatus(row.visit.status) in NOT_COMING:
        held.update(live=False)
    else:
        held.filter(client_id=row.client_id).update(live=False)


def take_again(actor: Actor, row: Participation, *, ahead: bool) -> None:
    """What a part held that was called off, taken once more if it is still free, or if it took place all the same."""
    wanted = _to_take_again(row)
    _lock([str(_resource(one)[1]) for one in wanted])
    for one in wanted:
        if one.room:
            one.place = _free_place(row.visit, one.room, one.during)
    _settle_overlaps(actor, row.visit, wanted, ahead=ahead)
    with constraint_as_error(OVERLAPS):
        Booking.objects.bulk_update(wanted, ["live", "place", "overlapped"])


def hold_as_planned(row: Participation) -> None:
    """What was freed when it was said to be over is held again to the planned end, as far as it is still free."""
    live = Booking.objects.filter(Q(client_id=row.client_id) | Q(client__isnull=True), visit_id=row.visit_id, live=True)
    held = list(live.order_by("pk"))
    _lock([str(_resource(one)[1]) for one in held])
    for one in held:
        whole = row if one.client_id else row.visit
        one.during = selectors.half_open(whole.starts_at, whole.ends_at)
        if not selectors.collisions(visit_id=row.visit_id, wanted=[one]):
            one.save(update_fields=["during"])


def staff_holding(visit: Visit) -> list[UUID]:
    """Who is booked for the visit now."""
    rows = Booking.objects.filter(visit=visit, live=True, staff__isnull=False)
    return list(rows.values_list("staff_id", flat=True))


def _to_take_again(row: Participation) -> list[Booking]:
    """The child's own time, and the visit's staff and rooms where nobody holds them for it any more."""
    own = Booking.objects.filter(visit=row.visit, superseded=False)
    child = Q(client_id=row.client_id)
    held = own.filter(live=True, staff__isnull=False).exists()
    released = own.filter(child if held else child | Q(client__isnull=True), live=False)
    return list(released.select_related("room").order_by("pk"))
