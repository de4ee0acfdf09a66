"""Visits are booked, moved, held, cancelled; each step keeps the bookings and the care team in agreement."""

from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import connection, transaction
from django.db.models import F, Q, QuerySet
from uuid_utils.compat import uuid7

from clinic import outbox
from clinic.enums import CareSource, EpisodeStatus
from clinic.errors import Conflict, InvalidField, RuleForbids, constraint_as_error
from clinic.models import CareTeam, Episode, Organization, Room, Site, Staff
from clinic.rules.access import Action, Actor
from clinic.selectors.cosigning import supervision_of
from scheduling.enums import VisitKind, VisitMode, VisitStatus
from scheduling.models import Booking, Participation, ParticipationChange, Visit
from scheduling.rules import visits as rules
from scheduling.selectors import visits as selectors
from scheduling.services.clinicians import correct_clinicians


class Overlaps(Conflict):
    code = "booking_overlaps"
    title = "Somebody or some place is taken at that time"


OVERLAPS = {
    "booking_no_overlap_per_staff": Overlaps,
    "booking_no_overlap_per_client": Overlaps,
    "booking_no_overlap_per_room_place": Overlaps,
}


# The day may be another one than the visit's, the wait for it may not be.
LONGEST_BEFORE = timedelta(hours=12)
MOST_HOURS_OF_NOTICE = 10 * 366 * 24


@dataclass(frozen=True)
class Place:
    """One child in the visit asked for, with her own times."""

    participation_id: UUID
    episode: Episode
    starts_at: datetime
    ends_at: datetime


@dataclass(frozen=True)
class Wanted:
    """A visit as it was asked for, every name in it found in the asker's reach."""

    site: Site
    kind: VisitKind
    mode: VisitMode
    place: str
    starts_at: datetime
    ends_at: datetime
    staff: list[Staff]
    rooms: list[Room]
    children: list[Place]

    @property
    def service_date(self) -> date:
        return rules.service_date_of(self.starts_at, self.site.time_zone)

    @property
    def staff_ids(self) -> list[UUID]:
        return [person.pk for person in self.staff]

    @property
    def episode_ids(self) -> list[UUID]:
        return [child.episode.pk for child in self.children]


@transaction.atomic
def book_visit(*, actor: Actor, visit_id: UUID, asked: dict[str, Any], digest: str, now: datetime) -> Visit:
    """Book a visit ahead, or enter one that took place; refuses overlaps, and ahead also what a rule forbids."""
    wanted = _wanted(actor, asked)
    _refuse_by_rule(actor, wanted, now)
    visit = Visit.objects.create(
        pk=visit_id,
        organization_id=actor.organization_id,
        site=wanted.site,
        kind=wanted.kind.value,
        mode=wanted.mode.value,
        place=wanted.place,
        starts_at=wanted.starts_at,
        ends_at=wanted.ends_at,
        service_date=wanted.service_date,
        created_digest=digest,
    )
    _take_part(actor, visit, wanted, now)
    _hold(visit, wanted)
    _put_on_care_teams(visit, episodes=wanted.episode_ids, staff=wanted.staff_ids)
    outbox.created("visit", visit)
    return visit


@transaction.atomic
def move_visit(*, actor: Actor, visit: Visit, asked: dict[str, Any], now: datetime) -> Visit:
    """Change a booked visit: all that it holds is released, moved and taken again, or nothing is.

    Of a visit that has begun, only who treated is put right.
    """
    wanted = _wanted(actor, asked)
    if visit.status != VisitStatus.BOOKED.value:
        _require_only_clinicians(visit, wanted)
        new = correct_clinicians(actor=actor, visit=visit, staff=wanted.staff_ids)
        _put_on_care_teams(visit, episodes=wanted.episode_ids, staff=new)
        return visit
    if wanted.kind.value != visit.kind:
        raise InvalidField("/kind", "A visit's kind stays: cancel it and book another", code="fixed")
    held = {row.episode_id: row for row in visit.participations.all()}
    coming = {episode_id for episode_id, row in held.items() if VisitStatus(row.status) not in rules.OVER}
    if coming - {child.episode.pk for child in wanted.children}:
        raise InvalidField("/children", "A child leaves a visit by cancelling her part in it", code="child_missing")
    # A part that was called off stays as it was: it is neither moved nor held, named or not.
    wanted = replace(wanted, children=[c for c in wanted.children if c.episode.pk in coming | _new(wanted, held)])
    _refuse_by_rule(actor, wanted, now)
    Booking.objects.filter(visit=visit, superseded=False).update(live=False, superseded=True)
    visit.site, visit.mode, visit.place = wanted.site, wanted.mode.value, wanted.place
    visit.starts_at, visit.ends_at, visit.service_date = wanted.starts_at, wanted.ends_at, wanted.service_date
    visit.sequence += 1
    visit.version += 1
    visit.save()
    _move_parts(actor, visit, held, wanted, now)
    _hold(visit, wanted)
    _leave_care_teams(visit, actor.today)
    _put_on_care_teams(visit, episodes=wanted.episode_ids, staff=wanted.staff_ids)
    outbox.changed("visit", visit)
    return visit


def _require_only_clinicians(visit: Visit, wanted: Wanted) -> None:
    """A visit that has begun stays where and when it was, with its children; one that was called off stays whole."""
    begun = visit.status in (VisitStatus.CHECKED_IN.value, VisitStatus.FULFILLED.value)
    stands = (visit.site_id, visit.kind, visit.mode, visit.place, visit.starts_at, visit.ends_at)
    asked = (wanted.site.pk, wanted.kind.value, wanted.mode.value, wanted.place, wanted.starts_at, wanted.ends_at)
    parts = {(row.episode_id, row.starts_at, row.ends_at) for row in visit.participations.all()}
    named = {(child.episode.pk, child.starts_at, child.ends_at) for child in wanted.children}
    rooms = set(visit.bookings.filter(room__isnull=False, superseded=False).values_list("room_id", flat=True))
    if not begun or stands != asked or parts != named or rooms != {room.pk for room in wanted.rooms}:
        detail = "Only a booked visit is moved; of one that has begun, only its staff are put right"
        raise Conflict(detail, code="visit_not_booked", status_now=visit.status)


def _new(wanted: Wanted, held: Collection[UUID]) -> set[UUID]:
    return {child.episode.pk for child in wanted.children} - set(held)


def _move_parts(actor: Actor, visit: Visit, held: dict[UUID, Participation], wanted: Wanted, now: datetime) -> None:
    for child in wanted.children:
        row = held.get(child.episode.pk)
        if row is None:
            continue
        row.starts_at, row.ends_at, row.service_date = child.starts_at, child.ends_at, visit.service_date
        row.version += 1
        row.save(update_fields=["starts_at", "ends_at", "service_date", "version"])
    _take_part(actor, visit, wanted, now, already=set(held))


# --- What was asked, found in reach -------------------------------------------------------------------


def _wanted(actor: Actor, asked: dict[str, Any]) -> Wanted:
    site = selectors.sites_in(actor, [asked["site"]]).get(asked["site"])
    if site is None:
        raise InvalidField("/site", "There is no such site in your reach", code="not_found")
    if asked["ends_at"] <= asked["starts_at"]:
        raise InvalidField("/ends_at", "A visit ends after it starts", code="ends_before_start")
    if (asked["ends_at"] - asked["starts_at"]).total_seconds() > 12 * 3600:
        raise InvalidField("/ends_at", "A visit takes at most twelve hours", code="too_long")
    return Wanted(
        site=site,
        kind=VisitKind(asked["kind"]),
        mode=VisitMode(asked.get("mode", VisitMode.IN_PERSON.value)),
        place=asked.get("place", ""),
        starts_at=asked["starts_at"],
        ends_at=asked["ends_at"],
        staff=_found(selectors.staff_in(actor, asked["staff"]), asked["staff"], "/staff"),
        rooms=_rooms(actor, site, asked.get("rooms", [])),
        children=_children(actor, asked, site),
    )


def _found(rows: dict[UUID, Any], ids: list[UUID], pointer: str) -> list[Any]:
    for index, row_id in enumerate(ids):
        if row_id not in rows:
            raise InvalidField(f"{pointer}/{index}", "There is no such row in your reach", code="not_found")
        if row_id in ids[:index]:
            raise InvalidField(f"{pointer}/{index}", "This stands twice", code="doubled")
    return [rows[row_id] for row_id in ids]


def _rooms(actor: Actor, site: Site, ids: list[UUID]) -> list[Room]:
    rooms = _found(selectors.rooms_in(actor, ids), ids, "/rooms")
    for index, room in enumerate(rooms):
        if room.site_id != site.pk:
            raise InvalidField(f"/rooms/{index}", "This room is at another site", code="another_site")
    return rooms


def _children(actor: Actor, asked: dict[str, Any], site: Site) -> list[Place]:
    day = rules.service_date_of(asked["starts_at"], site.time_zone)
    ids = [child["episode"] for child in asked["children"]]
    episodes = selectors.episodes_in(actor, ids, Action.BOOK_VISITS)
    found: list[Place] = []
    for index, child in enumerate(asked["children"]):
        episode = episodes.get(child["episode"])
        if episode is None:
            raise InvalidField(f"/children/{index}/episode", "There is no such episode in your reach", code="not_found")
        if episode.client_id in {place.episode.client_id for place in found}:
            raise InvalidField(f"/children/{index}/episode", "This child is in the visit already", code="doubled")
        if day < episode.client.birth_date:
            raise InvalidField("/starts_at", "The child was not born yet on that day", code="before_birth")
        starts, ends = child.get("starts_at", asked["starts_at"]), child.get("ends_at", asked["ends_at"])
        if not asked["starts_at"] <= starts < ends <= asked["ends_at"]:
            raise InvalidField(f"/children/{index}/starts_at", "Her times lie within the visit's", code="outside_visit")
        found.append(Place(child.get("id") or uuid7(), episode, starts, ends))
    return found


def _refuse_by_rule(actor: Actor, wanted: Wanted, now: datetime) -> None:
    """What is refused ahead. The record of what took place is never refused for want of a right or a rule."""
    ahead = wanted.starts_at > now
    refusal = rules.children_refusal(wanted.kind, len(wanted.children), ahead=ahead)
    if refusal:
        raise RuleForbids(rules.TOLD[refusal], code=refusal.value, pointer="/children")
    if not ahead:
        return
    if wanted.starts_at - now > rules.LONGEST_AHEAD:
        raise InvalidField("/starts_at", "A visit is booked at most two years ahead", code="too_far_ahead")
    for index, child in enumerate(wanted.children):
        closed = child.episode.status in (EpisodeStatus.FINISHED.value, EpisodeStatus.CANCELLED.value)
        if closed:
            raise RuleForbids("This episode is closed", code="episode_closed", pointer=f"/children/{index}/episode")
    day = wanted.service_date
    roles = selectors.roles_on(wanted.staff_ids, day)
    for index, person in enumerate(wanted.staff):
        supervised = all(
            supervision_of(person.pk, child.episode, today=actor.today).in_force(day) for child in wanted.children
        )
        refusal = rules.clinician_refusal(wanted.kind, roles=roles[person.pk], supervised=supervised)
        if refusal:
            raise RuleForbids(rules.TOLD[refusal], code=refusal.value, pointer=f"/staff/{index}")


# --- Participations, bookings, care teams -------------------------------------------------------------


def _take_part(
    actor: Actor, visit: Visit, wanted: Wanted, now: datetime, already: Collection[UUID] = frozenset()
) -> None:
    rows = [
        Participation(
            pk=child.participation_id,
            organization_id=visit.organization_id,
            visit=visit,
            client_id=child.episode.client_id,
            episode=child.episode,
            service_date=visit.service_date,
            starts_at=child.starts_at,
            ends_at=child.ends_at,
        )
        for child in wanted.children
        if child.episode.pk not in already
    ]
    with constraint_as_error({"scheduling_participation_pkey": Conflict("A child's part has this id already")}):
        Participation.objects.bulk_create(rows)
    ParticipationChange.objects.bulk_create(
        _step_row(row, "", VisitStatus.BOOKED, actor=actor, now=now) for row in rows
    )


def _step_row(
    row: Participation, before: str, after: VisitStatus, *, actor: Actor, now: datetime
) -> ParticipationChange:
    return ParticipationChange(
        organization_id=row.organization_id,
        participation=row,
        from_status=before,
        to_status=after.value,
        effective_on=row.service_date,
        at=now,
        by_id=actor.staff_id,
    )


def _hold(visit: Visit, wanted: Wanted) -> None:
    """Take every resource at once: sorted locks and a look first make the refusal kind, the constraints decide."""
    whole = selectors.half_open(wanted.starts_at, wanted.ends_at)
    rows = [_booking(visit, whole, staff_id=person.pk) for person in wanted.staff]
    rows += [
        _booking(visit, selectors.half_open(child.starts_at, child.ends_at), client_id=child.episode.client_id)
        for child in wanted.children
    ]
    _lock([*(str(row.staff_id or row.client_id) for row in rows), *(str(room.pk) for room in wanted.rooms)])
    rows += [_room_place(visit, room, whole) for room in wanted.rooms]
    found = selectors.collisions(visit_id=visit.pk, wanted=rows)
    if found:
        raise Overlaps(collides_with=[_told(row) for row in found[:20]])
    with constraint_as_error(OVERLAPS):
        Booking.objects.bulk_create(rows)


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


def _told(row: Booking) -> dict[str, Any]:
    """What collides, without saying who or why: a time and the kind of resource."""
    kind = "staff" if row.staff_id else "client" if row.client_id else "room"
    return {
        "resource": kind,
        "id": str(row.staff_id or row.client_id or row.room_id),
        "starts_at": row.during.lower,
        "ends_at": row.during.upper,
    }


def _put_on_care_teams(visit: Visit, *, episodes: list[UUID], staff: list[UUID]) -> None:
    """A booking puts its clinicians in reach of the child, from some days before until the note is signed."""
    days = Organization.objects.values_list("care_team_days_before_booking", flat=True).get(pk=visit.organization_id)
    starts_on = visit.service_date - timedelta(days=days)
    held = CareTeam.objects.filter(source_id=visit.pk, episode_id__in=episodes, staff_id__in=staff)
    known = set(held.values_list("episode_id", "staff_id"))
    held.update(starts_on=starts_on, ends_on=None)
    CareTeam.objects.bulk_create(
        CareTeam(
            organization_id=visit.organization_id,
            episode_id=episode_id,
            staff_id=staff_id,
            starts_on=starts_on,
            source=CareSource.BOOKING.value,
            source_id=visit.pk,
        )
        for episode_id in episodes
        for staff_id in staff
        if (episode_id, staff_id) not in known
    )


def _leave_care_teams(visit: Visit, today: date, *, episode_id: UUID | None = None) -> None:
    """End what this booking gave; a place that had not begun yet is taken back."""
    rows = CareTeam.objects.filter(source_id=visit.pk, ends_on__isnull=True)
    if episode_id is not None:
        rows = rows.filter(episode_id=episode_id)
    rows.filter(starts_on__gt=today).delete()
    rows.filter(starts_on__lte=today).update(ends_on=today)


def shows_more(participation: Participation) -> None:
    """A note hangs on it now and is shown with it: its version moves on, and so does its visit's."""
    # The visit first, as every step does: its row is the lock of both.
    Visit.objects.filter(pk=participation.visit_id).update(version=F("version") + 1)
    Participation.objects.filter(pk=participation.pk).update(version=F("version") + 1)


@transaction.atomic(savepoint=False)
def end_reach_of_booking(*, visit: Visit, episode_id: UUID, staff_id: UUID, today: date) -> None:
    """The note is signed: what the booking gave its author ends with this day."""
    CareTeam.objects.filter(
        source_id=visit.pk, episode_id=episode_id, staff_id=staff_id, ends_on__isnull=True, starts_on__lte=today
    ).update(ends_on=today)


# --- Steps ----------------------------------------------------------------------------------------------


def _step(actor: Actor, row: Participation, step: rules.Step, now: datetime, **facts: Any) -> Participation:
    before, after = _require_step(row, step), rules.ENDS_IN[step]
    row.status = after.value
    for name, value in facts.items():
        setattr(row, name, value)
    row.version += 1
    row.save()
    _step_row(row, before.value, after, actor=actor, now=now).save()
    _visit_follows(row.visit)
    outbox.changed("participation", row, client_id=row.client_id, episode_id=row.episode_id)
    return row


def _require_step(row: Participation, step: rules.Step) -> VisitStatus:
    before = VisitStatus(row.status)
    if step not in rules.STEPS[before]:
        allowed = sorted(rules.STEPS[before])
        raise Conflict(
            f"A visit that is {before.value} takes no {step.value}", code="illegal_step", allowed_actions=allowed
        )
    return before


def _visit_follows(visit: Visit) -> None:
    statuses = [VisitStatus(status) for status in visit.participations.values_list("status", flat=True)]
    visit.status = rules.status_of(statuses).value
    arrivals = [at for at in visit.participations.values_list("arrived_at", flat=True) if at]
    leavings = [at for at in visit.participations.values_list("left_at", flat=True) if at]
    visit.arrived_at = min(arrivals, default=None)
    done = visit.status == VisitStatus.FULFILLED.value
    visit.finished_at = max(leavings, default=None) if done else None
    visit.version += 1
    visit.save(update_fields=["status", "arrived_at", "finished_at", "version"])


@transaction.atomic
def check_in(
    *, actor: Actor, participation: Participation, arrived_at: datetime | None, now: datetime
) -> Participation:
    """The child is there; since when, if nobody says, is taken from the clock and the plan."""
    _require_step(participation, rules.Step.CHECK_IN)
    planned = {"starts_at": participation.starts_at, "ends_at": participation.ends_at}
    arrived_at = arrived_at or rules.usual_arrival(**planned, now=now)
    _refuse_future(arrived_at, now, "/arrived_at")
    if participation.starts_at - arrived_at > LONGEST_BEFORE:
        raise InvalidField("/arrived_at", "The visit is more than twelve hours away", code="too_early")
    return _step(actor, participation, rules.Step.CHECK_IN, now, arrived_at=arrived_at)


@transaction.atomic
def finish(
    *,
    actor: Actor,
    participation: Participation,
    left_at: datetime | None,
    minutes: int | None,
    ended_early: str,
    now: datetime,
) -> Participation:
    """The child's part is over; minutes are what elapsed from arrival, unless they are given."""
    _require_step(participation, rules.Step.FINISH)
    arrived = participation.arrived_at or participation.starts_at
    if left_at is None and arrived > now:
        raise RuleForbids("The visit has not begun", code="visit_not_begun")
    left_at = left_at or rules.usual_leaving(arrived_at=arrived, ends_at=participation.ends_at, now=now)
    _refuse_future(left_at, now, "/left_at")
    if left_at < arrived:
        detail = "The child left after she came; if she came before the planned time, check her in with it first"
        raise InvalidField("/left_at", detail, code="ends_before_start")
    counted = rules.minutes_between(arrived, left_at) if minutes is None else minutes
    if counted > 720:
        raise InvalidField("/minutes", "A visit takes at most twelve hours", code="too_long")
    row = _step(
        actor,
        participation,
        rules.Step.FINISH,
        now,
        arrived_at=arrived,
        left_at=left_at,
        minutes=counted,
        ended_early=ended_early,
    )
    _free_the_rest(row, left_at)
    return row


def _free_the_rest(row: Participation, left_at: datetime) -> None:
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


def _refuse_future(moment: datetime, now: datetime, pointer: str) -> None:
    if (moment - now).total_seconds() > 300:
        raise InvalidField(pointer, "This lies in the future", code="in_the_future")


@transaction.atomic
def call_off(
    *,
    actor: Actor,
    participation: Participation,
    step: rules.Step,
    cause: str,
    reason: str,
    at: datetime,
    now: datetime,
) -> Participation:
    """Cancelled, or nobody came: who, why, when and how late is kept; what was held becomes free."""
    _refuse_future(at, now, "/at")
    if step == rules.Step.NO_SHOW and participation.starts_at > now:
        raise RuleForbids("The visit has not begun: who does not come yet may still come", code="visit_not_begun")
    notice = round((participation.starts_at - at).total_seconds() / 3600, 2)
    if notice > MOST_HOURS_OF_NOTICE:
        raise InvalidField("/at", "This lies too long before the visit", code="too_early")
    row = _step(
        actor,
        participation,
        step,
        now,
        cancelled_at=at,
        cancelled_by_id=actor.staff_id,
        cancel_cause=cause,
        cancel_reason=reason,
        hours_of_notice=notice,
        minutes=0 if step == rules.Step.NO_SHOW else participation.minutes,
    )
    _release(row)
    _leave_care_teams(row.visit, actor.today, episode_id=row.episode_id)
    return row


@transaction.atomic
def cancel_visit(*, actor: Actor, visit: Visit, cause: str, reason: str, at: datetime, now: datetime) -> None:
    """Every part of it in her reach that can still be cancelled is; refused when there is none."""
    rows = selectors.participations_for(actor, Action.CONDUCT_VISITS).filter(visit=visit).order_by("pk")
    open_rows = [row for row in rows if rules.Step.CANCEL in rules.STEPS[VisitStatus(row.status)]]
    if not open_rows:
        raise Conflict("Nothing of this visit can be cancelled", code="illegal_step", status_now=visit.status)
    for row in open_rows:
        row.visit = visit
        call_off(actor=actor, participation=row, step=rules.Step.CANCEL, cause=cause, reason=reason, at=at, now=now)


def _release(row: Participation) -> None:
    """Free the child's time; when nobody is left in the visit, everything that it held."""
    held = Booking.objects.filter(visit_id=row.visit_id, live=True)
    if row.visit.status in (VisitStatus.CANCELLED.value, VisitStatus.NO_SHOW.value):
        held.update(live=False)
    else:
        held.filter(client_id=row.client_id).update(live=False)


@transaction.atomic
def reinstate(*, actor: Actor, participation: Participation, now: datetime) -> Participation:
    """It was called off by mistake: what it held is taken again, if it is still free."""
    row = _step(
        actor,
        participation,
        rules.Step.REINSTATE,
        now,
        cancelled_at=None,
        cancelled_by_id=None,
        cancel_cause=None,
        cancel_reason="",
        hours_of_notice=None,
        minutes=None,
    )
    wanted = _to_take_again(row)
    _lock([str(one.staff_id or one.client_id or one.room_id) for one in wanted])
    for one in wanted:
        one.live = True
        if one.room:
            one.place = _free_place(row.visit, one.room, one.during)
    found = selectors.collisions(visit_id=row.visit_id, wanted=wanted)
    if found:
        raise Overlaps(collides_with=[_told(one) for one in found[:20]])
    with constraint_as_error(OVERLAPS):
        Booking.objects.bulk_update(wanted, ["live", "place"])
    staff = Booking.objects.filter(visit=row.visit, live=True, staff__isnull=False).values_list("staff_id", flat=True)
    _put_on_care_teams(row.visit, episodes=[row.episode_id], staff=list(staff))
    return row


def _to_take_again(row: Participation) -> list[Booking]:
    """The child's own time, and the visit's staff and rooms where nobody holds them for it any more."""
    own = Booking.objects.filter(visit=row.visit, superseded=False)
    child = Q(client_id=row.client_id)
    held = own.filter(live=True, staff__isnull=False).exists()
    released = own.filter(child if held else child | Q(client__isnull=True), live=False)
    return list(released.select_related("room").order_by("pk"))
