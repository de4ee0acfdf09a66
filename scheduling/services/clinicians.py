"""Who really treated, put right once a visit has begun: a colleague stepped in, or was there besides."""

from collections.abc import Collection
from uuid import UUID

from django.db import IntegrityError, transaction

from clinic import outbox
from clinic.errors import Conflict
from clinic.rules.access import Actor
from scheduling.models import Booking, ParticipationNote, Visit
from scheduling.selectors import visits as selectors
from scheduling.services.reach_of_bookings import end_places


@transaction.atomic(savepoint=False)
def correct_clinicians(*, actor: Actor, visit: Visit, staff: Collection[UUID]) -> list[UUID]:
    """The visit's staff as they were; answers who is new. Who has documented it stays.

    The time has come already: it is held for whom it is free, and nobody's other booking refuses what was.
    """
    held = Booking.objects.filter(visit=visit, superseded=False, staff__isnull=False)
    booked = set(held.values_list("staff_id", flat=True))
    gone, come = booked - set(staff), [person for person in staff if person not in booked]
    if ParticipationNote.objects.standing().filter(participation__visit=visit, author_id__in=gone).exists():
        raise Conflict("Who has documented a visit took part in it", code="has_documented")
    held.filter(staff_id__in=gone).update(live=False, superseded=True)
    end_places(visit.pk, on=actor.today, staff=gone)
    for person in come:
        _take_part(visit, person)
    visit.version += 1
    visit.save(update_fields=["version"])
    outbox.changed("visit", visit)
    return come


def _take_part(visit: Visit, person: UUID) -> None:
    during = selectors.half_open(visit.starts_at, visit.ends_at)
    row = {"organization_id": visit.organization_id, "visit": visit, "during": during, "staff_id": person}
    try:
        with transaction.atomic():
            Booking.objects.create(live=True, **row)
    except IntegrityError:
        Booking.objects.create(live=False, **row)
