"""Steps of a child's part in a visit: checked in, finished, called off, reinstated. The visit's own status follows."""

from datetime import datetime, timedelta
from typing import Any

from django.db import transaction

from clinic import outbox
from clinic.errors import Conflict, InvalidField, RuleForbids
from clinic.rules.access import Action, Actor
from clinic.rules.device_clock import RIGHT, put_right
from scheduling.enums import VisitStatus
from scheduling.models import Participation, ParticipationNote, Visit
from scheduling.rules import visits as rules
from scheduling.selectors import visits as selectors
from scheduling.services.bookings import (
    free_the_rest,
    hold_as_planned,
    release,
    staff_holding,
    take_again,
)
from scheduling.services.reach_of_bookings import leave_care_teams, put_on_care_teams
from scheduling.services.step_rows import step_row

# The day may be another one than the visit's, the wait for it may not be.
LONGEST_BEFORE = timedelta(hours=12)
MOST_HOURS_OF_NOTICE = 10 * 366 * 24


def _step(
    actor: Actor, row: Participation, step: rules.Step, now: datetime, *, because: Any = "", **facts: Any
) -> Participation:
    before, after = _require_step(row, step), rules.ENDS_IN[step]
    row.status = after.value
    for name, value in facts.items():
        setattr(row, name, value)
    row.version += 1
    row.save()
    step_row(row, before.value, after, actor=actor, now=now, reason=because).save()
    _visit_follows(row.visit)
    outbox.changed("participation", row, client_id=row.client_id, episode_id=row.episode_id)
    outbox.record("visit.changed", organization_id=row.organization_id, now=now, visit_id=row.visit_id)
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
    parts = list(visit.participations.values_list("status", "arrived_at", "left_at"))
    visit.status = rules.status_of(VisitStatus(status) for status, _, _ in parts).value
    visit.arrived_at = min((arrived for _, arrived, _ in parts if arrived), default=None)
    done = visit.status == VisitStatus.FULFILLED.value
    visit.finished_at = max((left for _, _, left in parts if left), default=None) if done else None
    visit.version += 1
    visit.save(update_fields=["status", "arrived_at", "finished_at", "version"])
    outbox.changed("visit", visit)


@transaction.atomic
def check_in(
    *,
    actor: Actor,
    participation: Participation,
    arrived_at: datetime | None,
    now: datetime,
    device_offset: timedelta = RIGHT,
) -> Participation:
    """The child is there; since when, if nobody says, is taken from the clock and the plan."""
    _require_step(participation, rules.Step.CHECK_IN)
    planned = {"starts_at": participation.starts_at, "ends_at": participation.ends_at}
    observed = put_right(arrived_at, device_offset) if arrived_at else None
    arrived_at = observed or rules.usual_arrival(**planned, now=now)
    _refuse_future(arrived_at, now, "/arrived_at")
    if participation.starts_at - arrived_at > LONGEST_BEFORE:
        raise InvalidField("/arrived_at", "The visit is more than twelve hours away", code="too_early")
    return _step(actor, participation, rules.Step.CHECK_IN, now, arrived_at=arrived_at, **_clock(device_offset))


@transaction.atomic
def finish(
    *,
    actor: Actor,
    participation: Participation,
    left_at: datetime | None,
    minutes: int | None,
    ended_early: str,
    now: datetime,
    device_offset: timedelta = RIGHT,
) -> Participation:
    """The child's part is over; minutes are what elapsed from arrival, unless they are given."""
    _require_step(participation, rules.Step.FINISH)
    arrived = participation.arrived_at or participation.starts_at
    if left_at is None and arrived > now:
        raise RuleForbids("The visit has not begun", code="visit_not_begun")
    observed = put_right(left_at, device_offset) if left_at else None
    left_at = observed or rules.usual_leaving(arrived_at=arrived, ends_at=participation.ends_at, now=now)
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
        **_clock(device_offset),
    )
    free_the_rest(row, left_at)
    return row


def _clock(device_offset: timedelta) -> dict[str, int]:
    """What is kept of a clock that was far off."""
    return {"device_offset_seconds": int(device_offset.total_seconds())} if device_offset else {}


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
    device_offset: timedelta = RIGHT,
) -> Participation:
    """Cancelled, or nobody came: who, why, when and how late is kept; what was held becomes free."""
    at = put_right(at, device_offset)
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
        **_clock(device_offset),
    )
    release(row)
    leave_care_teams(row.visit, actor.today, episode_id=row.episode_id)
    return row


@transaction.atomic
def cancel_visit(
    *,
    actor: Actor,
    visit: Visit,
    cause: str,
    reason: str,
    at: datetime,
    now: datetime,
    device_offset: timedelta = RIGHT,
) -> None:
    """Every part of it in her reach that can still be cancelled is; refused when there is none."""
    rows = selectors.participations_for(actor, Action.CONDUCT_VISITS).filter(visit=visit).order_by("pk")
    open_rows = [row for row in rows if rules.Step.CANCEL in rules.STEPS[VisitStatus(row.status)]]
    if not open_rows:
        raise Conflict("Nothing of this visit can be cancelled", code="illegal_step", status_now=visit.status)
    for row in open_rows:
        row.visit = visit
        call_off(
            actor=actor,
            participation=row,
            step=rules.Step.CANCEL,
            cause=cause,
            reason=reason,
            at=at,
            now=now,
            device_offset=device_offset,
        )


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
    take_again(actor, row, ahead=row.starts_at > now)
    put_on_care_teams(row.visit, episodes=[row.episode_id], staff=staff_holding(row.visit))
    return row


@transaction.atomic
def undo(*, actor: Actor, participation: Participation, reason: str, now: datetime) -> Participation:
    """It was said by mistake that the child had come, or that it was over: the part is booked as before."""
    _require_step(participation, rules.Step.UNDO)
    _refuse_notes(participation, signed_only=True)
    row = _step(
        actor,
        participation,
        rules.Step.UNDO,
        now,
        because=reason,
        arrived_at=None,
        left_at=None,
        minutes=None,
        ended_early="",
    )
    hold_as_planned(row)
    return row


@transaction.atomic
def enter_in_error(*, actor: Actor, participation: Participation, reason: str, now: datetime) -> Participation:
    """This part never was: it stays to be read, counts nowhere and holds nothing."""
    _require_step(participation, rules.Step.ENTER_IN_ERROR)
    _refuse_notes(participation, signed_only=False)
    row = _step(actor, participation, rules.Step.ENTER_IN_ERROR, now, because=reason)
    release(row)
    leave_care_teams(row.visit, actor.today, episode_id=row.episode_id)
    return row


def _refuse_notes(participation: Participation, *, signed_only: bool) -> None:
    """What a note says took place did: the note is put right first."""
    notes = ParticipationNote.objects.standing().filter(participation=participation)
    if signed_only:
        notes = notes.filter(document__current_version__isnull=False)
    standing = [str(document_id) for document_id in notes.values_list("document_id", flat=True)]
    if standing:
        detail = "A note says that this took place: enter it in error, or move it, first"
        raise Conflict(detail, code="has_note", notes=standing)
