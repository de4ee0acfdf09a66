"""What may be booked ahead, which step follows which, and what a visit's status is by its participations."""

from collections.abc import Collection, Iterable
from datetime import date, datetime, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from clinic.enums import Role
from scheduling.enums import VisitKind, VisitStatus

MOST_IN_A_GROUP = 8
FEWEST_IN_A_GROUP = 2
LONGEST_AHEAD = timedelta(days=731)
USUAL_OVERRUN = timedelta(hours=1)
THERAPISTS_ONLY = frozenset({VisitKind.EVALUATION, VisitKind.RE_EVALUATION})
OVER = frozenset({VisitStatus.CANCELLED, VisitStatus.NO_SHOW})
NOT_COMING = OVER | {VisitStatus.ENTERED_IN_ERROR}


class Step(StrEnum):
    CHECK_IN = "check-in"
    FINISH = "finish"
    CANCEL = "cancel"
    NO_SHOW = "no-show"
    REINSTATE = "reinstate"
    UNDO = "undo"
    ENTER_IN_ERROR = "enter-in-error"


STEPS: dict[VisitStatus, frozenset[Step]] = {
    VisitStatus.BOOKED: frozenset({Step.CHECK_IN, Step.FINISH, Step.CANCEL, Step.NO_SHOW, Step.ENTER_IN_ERROR}),
    VisitStatus.CHECKED_IN: frozenset({Step.FINISH, Step.CANCEL, Step.UNDO, Step.ENTER_IN_ERROR}),
    VisitStatus.FULFILLED: frozenset({Step.UNDO, Step.ENTER_IN_ERROR}),
    VisitStatus.CANCELLED: frozenset({Step.REINSTATE, Step.ENTER_IN_ERROR}),
    VisitStatus.NO_SHOW: frozenset({Step.REINSTATE, Step.ENTER_IN_ERROR}),
    VisitStatus.ENTERED_IN_ERROR: frozenset(),
}
ENDS_IN: dict[Step, VisitStatus] = {
    Step.CHECK_IN: VisitStatus.CHECKED_IN,
    Step.FINISH: VisitStatus.FULFILLED,
    Step.CANCEL: VisitStatus.CANCELLED,
    Step.NO_SHOW: VisitStatus.NO_SHOW,
    Step.REINSTATE: VisitStatus.BOOKED,
    Step.UNDO: VisitStatus.BOOKED,
    Step.ENTER_IN_ERROR: VisitStatus.ENTERED_IN_ERROR,
}


class BookingRefusal(StrEnum):
    EVALUATION_NEEDS_THERAPIST = "evaluation_needs_therapist"
    NO_SUPERVISION_ON_DAY = "no_supervision_on_day"
    GROUP_TOO_LARGE = "group_too_large"
    GROUP_TOO_SMALL = "group_too_small"
    ONE_CHILD_ONLY = "one_child_only"
    NO_CLINICIAN = "no_clinician"


TOLD = {
    BookingRefusal.EVALUATION_NEEDS_THERAPIST: "An evaluation is booked for a therapist",
    BookingRefusal.NO_SUPERVISION_ON_DAY: "No supervisor is assigned to this assistant on that day",
    BookingRefusal.GROUP_TOO_LARGE: f"A group is booked for at most {MOST_IN_A_GROUP} children",
    BookingRefusal.GROUP_TOO_SMALL: f"A group is booked for at least {FEWEST_IN_A_GROUP} children",
    BookingRefusal.ONE_CHILD_ONLY: "Only a group has several children",
    BookingRefusal.NO_CLINICIAN: "She is neither assistant nor therapist on that day",
}


def children_refusal(kind: VisitKind, children: int, *, ahead: bool) -> BookingRefusal | None:
    """How many children a visit of this kind takes; a group that met is as large as it was."""
    if kind != VisitKind.GROUP:
        return BookingRefusal.ONE_CHILD_ONLY if children > 1 else None
    if not ahead:
        return None
    if children > MOST_IN_A_GROUP:
        return BookingRefusal.GROUP_TOO_LARGE
    return BookingRefusal.GROUP_TOO_SMALL if children < FEWEST_IN_A_GROUP else None


def clinician_refusal(kind: VisitKind, *, roles: Collection[Role], supervised: bool) -> BookingRefusal | None:
    """Why this clinician may not be booked ahead for such a visit on that day, or None."""
    if Role.THERAPIST in roles:
        return None
    if Role.ASSISTANT not in roles:
        return BookingRefusal.NO_CLINICIAN
    if kind in THERAPISTS_ONLY:
        return BookingRefusal.EVALUATION_NEEDS_THERAPIST
    return None if supervised else BookingRefusal.NO_SUPERVISION_ON_DAY


def status_of(participations: Iterable[VisitStatus]) -> VisitStatus:
    """A visit's own status, derived from its children's."""
    every = set(participations)
    statuses = every - {VisitStatus.ENTERED_IN_ERROR}
    if not statuses:
        return VisitStatus.ENTERED_IN_ERROR if every else VisitStatus.BOOKED
    if statuses <= OVER:
        return VisitStatus.NO_SHOW if VisitStatus.NO_SHOW in statuses else VisitStatus.CANCELLED
    running = statuses - OVER
    if running == {VisitStatus.FULFILLED}:
        return VisitStatus.FULFILLED
    return VisitStatus.BOOKED if running == {VisitStatus.BOOKED} else VisitStatus.CHECKED_IN


def service_date_of(starts_at: datetime, time_zone: str) -> date:
    """The day in the site's zone on which a visit counts."""
    return starts_at.astimezone(ZoneInfo(time_zone)).date()


def usual_arrival(*, starts_at: datetime, ends_at: datetime, now: datetime) -> datetime:
    """When a child came, if nobody says: now, or as planned where the visit's time is over."""
    return now if now <= ends_at else starts_at


def usual_leaving(*, arrived_at: datetime, ends_at: datetime, now: datetime) -> datetime:
    """When a child left, if nobody says: now, or as planned where that was more than an hour ago."""
    return now if now - ends_at <= USUAL_OVERRUN else max(ends_at, arrived_at)


def minutes_between(start: datetime, end: datetime) -> int:
    """Whole minutes that elapsed, a started one not counted."""
    return int((end - start).total_seconds() // 60)
