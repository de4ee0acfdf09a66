"""Visits are booked and moved; what they hold and whom they put in reach goes with them."""

from collections.abc import Collection
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import F

from clinic import outbox
from clinic.errors import Conflict, InvalidField, constraint_as_error
from clinic.rules.access import Actor
from clinic.rules.device_clock import RIGHT
from scheduling.enums import VisitStatus
from scheduling.models import Booking, Participation, ParticipationChange, Visit
from scheduling.rules import visits as rules
from scheduling.selectors.planned import planned_ids
from scheduling.services.bookings import hold
from scheduling.services.clinicians import correct_clinicians
from scheduling.services.planned import goals_to_plan, plan_goals
from scheduling.services.reach_of_bookings import leave_care_teams, put_on_care_teams
from scheduling.services.step_rows import step_row
from scheduling.services.wanted import Wanted, refuse_by_rule, wanted_of


@transaction.atomic
def book_visit(*, actor: Actor, visit_id: UUID, asked: dict[str, Any], digest: str, now: datetime) -> Visit:
    """Book a visit ahead, or enter one that took place; refuses overlaps, and ahead also what a rule forbids."""
    wanted = wanted_of(actor, asked)
    refuse_by_rule(actor, wanted, now)
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
    hold(actor, visit, wanted, ahead=wanted.starts_at > now)
    put_on_care_teams(visit, episodes=wanted.episode_ids, staff=wanted.staff_ids)
    outbox.created("visit", visit)
    outbox.record("visit.changed", organization_id=visit.organization_id, now=now, visit_id=visit.pk)
    return visit


@transaction.atomic
def move_visit(*, actor: Actor, visit: Visit, asked: dict[str, Any], now: datetime) -> Visit:
    """Change a booked visit: all that it holds is released, moved and taken again, or nothing is.

    Of a visit that has begun, only who treated is put right.
    """
    wanted = wanted_of(actor, asked)
    if visit.status != VisitStatus.BOOKED.value:
        _require_only_clinicians(visit, wanted)
        new = correct_clinicians(actor=actor, visit=visit, staff=wanted.staff_ids)
        put_on_care_teams(visit, episodes=wanted.episode_ids, staff=new)
        return visit
    if wanted.kind.value != visit.kind:
        raise InvalidField("/kind", "A visit's kind stays: cancel it and book another", code="fixed")
    held = {row.episode_id: row for row in visit.participations.all()}
    coming = {episode_id for episode_id, row in held.items() if VisitStatus(row.status) not in rules.NOT_COMING}
    if coming - {child.episode.pk for child in wanted.children}:
        raise InvalidField("/children", "A child leaves a visit by cancelling her part in it", code="child_missing")
    # A part that was called off stays as it was: it is neither moved nor held, named or not.
    wanted = replace(wanted, children=[c for c in wanted.children if c.episode.pk in coming | _new(wanted, held)])
    refuse_by_rule(actor, wanted, now)
    Booking.objects.filter(visit=visit, superseded=False).update(live=False, superseded=True)
    visit.site, visit.mode, visit.place = wanted.site, wanted.mode.value, wanted.place
    visit.starts_at, visit.ends_at, visit.service_date = wanted.starts_at, wanted.ends_at, wanted.service_date
    visit.sequence += 1
    visit.version += 1
    visit.save()
    _move_parts(actor, visit, held, wanted, now)
    hold(actor, visit, wanted, ahead=wanted.starts_at > now)
    leave_care_teams(visit, actor.today)
    put_on_care_teams(visit, episodes=wanted.episode_ids, staff=wanted.staff_ids)
    outbox.changed("visit", visit)
    outbox.record("visit.changed", organization_id=visit.organization_id, now=now, visit_id=visit.pk)
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
    for row in visit.participations.all():
        child = next(child for child in wanted.children if child.episode.pk == row.episode_id)
        if child.goals is not None and planned_ids(row.pk) != {goal.pk for goal in child.goals}:
            raise Conflict("What was planned stays once the visit has begun", code="visit_over")


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
        if child.goals is not None:
            plan_goals(actor=actor, participation=row, goals=child.goals, now=now)
        outbox.changed("participation", row, client_id=row.client_id, episode_id=row.episode_id)
    _take_part(actor, visit, wanted, now, already=set(held))


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
    for row in rows:
        outbox.created("participation", row, client_id=row.client_id, episode_id=row.episode_id)
    ParticipationChange.objects.bulk_create(step_row(row, "", VisitStatus.BOOKED, actor=actor, now=now) for row in rows)
    planned = {child.episode.pk: child.goals for child in wanted.children if child.goals}
    for row in rows:
        if row.episode_id in planned:
            plan_goals(actor=actor, participation=row, goals=planned[row.episode_id], now=now)


@transaction.atomic
def plan_part(*, actor: Actor, participation: Participation, goals: list[UUID], now: datetime) -> None:
    """Say what is to be worked on in a child's part. The caller holds the visit's lock."""
    named = goals_to_plan(actor, participation.episode_id, goals, pointer="/goals")
    if plan_goals(actor=actor, participation=participation, goals=named, now=now):
        shows_more(participation)


def shows_more(participation: Participation, *, device_offset: timedelta = RIGHT) -> None:
    """More hangs on it now and is shown with it: its version moves on, and so does its visit's.

    The clock of the device that wrote the note is kept where it was far off.
    """
    # The visit first, as every step does: its row is the lock of both.
    Visit.objects.filter(pk=participation.visit_id).update(version=F("version") + 1)
    clock = {"device_offset_seconds": int(device_offset.total_seconds())} if device_offset else {}
    Participation.objects.filter(pk=participation.pk).update(version=F("version") + 1, **clock)
    outbox.changed("visit", Visit(pk=participation.visit_id, organization_id=participation.organization_id))
    outbox.changed(
        "participation", participation, client_id=participation.client_id, episode_id=participation.episode_id
    )
