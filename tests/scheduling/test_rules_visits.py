"""What may be booked ahead, which step follows which, and what a visit's status is by its children's."""

from datetime import UTC, date, datetime

import pytest

from clinic.enums import Role
from scheduling.enums import VisitKind, VisitStatus
from scheduling.rules.visits import (
    ENDS_IN,
    STEPS,
    BookingRefusal,
    Step,
    children_refusal,
    clinician_refusal,
    minutes_between,
    service_date_of,
    status_of,
)

S = VisitStatus


@pytest.mark.parametrize(
    ("kind", "children", "ahead", "refusal"),
    [
        pytest.param(VisitKind.TREATMENT, 1, True, None, id="one child"),
        pytest.param(VisitKind.TREATMENT, 2, True, BookingRefusal.ONE_CHILD_ONLY, id="two in a treatment"),
        pytest.param(VisitKind.TREATMENT, 2, False, BookingRefusal.ONE_CHILD_ONLY, id="two in a past treatment"),
        pytest.param(VisitKind.GROUP, 1, True, BookingRefusal.GROUP_TOO_SMALL, id="group of one ahead"),
        pytest.param(VisitKind.GROUP, 2, True, None, id="group of two"),
        pytest.param(VisitKind.GROUP, 8, True, None, id="group of eight"),
        pytest.param(VisitKind.GROUP, 9, True, BookingRefusal.GROUP_TOO_LARGE, id="group of nine ahead"),
        pytest.param(VisitKind.GROUP, 9, False, None, id="group of nine that met"),
        pytest.param(VisitKind.GROUP, 1, False, None, id="group of one that met"),
    ],
)
def test_how_many_children_a_visit_takes(kind, children, ahead, refusal):
    """One, or two to eight in a group that is booked ahead."""
    assert children_refusal(kind, children, ahead=ahead) == refusal


@pytest.mark.parametrize(
    ("kind", "roles", "supervised", "refusal"),
    [
        pytest.param(VisitKind.TREATMENT, {Role.ASSISTANT}, True, None, id="supervised assistant"),
        pytest.param(
            VisitKind.TREATMENT,
            {Role.ASSISTANT},
            False,
            BookingRefusal.NO_SUPERVISION_ON_DAY,
            id="assistant without supervision",
        ),
        pytest.param(
            VisitKind.EVALUATION,
            {Role.ASSISTANT},
            True,
            BookingRefusal.EVALUATION_NEEDS_THERAPIST,
            id="assistant evaluates",
        ),
        pytest.param(
            VisitKind.RE_EVALUATION,
            {Role.ASSISTANT},
            True,
            BookingRefusal.EVALUATION_NEEDS_THERAPIST,
            id="assistant re-evaluates",
        ),
        pytest.param(VisitKind.EVALUATION, {Role.THERAPIST}, False, None, id="therapist evaluates"),
        pytest.param(VisitKind.TREATMENT, {Role.THERAPIST, Role.ASSISTANT}, False, None, id="both roles"),
        pytest.param(VisitKind.TREATMENT, {Role.FRONT_DESK}, True, BookingRefusal.NO_CLINICIAN, id="front desk"),
        pytest.param(VisitKind.TREATMENT, set(), True, BookingRefusal.NO_CLINICIAN, id="no role on the day"),
    ],
)
def test_who_may_be_booked_ahead(kind, roles, supervised, refusal):
    """A therapist for anything; an assistant for what she may do, on a day with supervision."""
    assert clinician_refusal(kind, roles=roles, supervised=supervised) == refusal


@pytest.mark.parametrize(
    ("children", "status"),
    [
        pytest.param([], S.BOOKED, id="nobody yet"),
        pytest.param([S.BOOKED, S.BOOKED], S.BOOKED, id="all booked"),
        pytest.param([S.BOOKED, S.CANCELLED], S.BOOKED, id="one cancelled, one booked"),
        pytest.param([S.CHECKED_IN, S.BOOKED], S.CHECKED_IN, id="one has come"),
        pytest.param([S.FULFILLED, S.BOOKED], S.CHECKED_IN, id="one over, one to come"),
        pytest.param([S.FULFILLED, S.CHECKED_IN], S.CHECKED_IN, id="one over, one there"),
        pytest.param([S.FULFILLED, S.NO_SHOW], S.FULFILLED, id="all who came are done"),
        pytest.param([S.CANCELLED, S.CANCELLED], S.CANCELLED, id="all cancelled"),
        pytest.param([S.CANCELLED, S.NO_SHOW], S.NO_SHOW, id="one cancelled, one missed"),
        pytest.param([S.ENTERED_IN_ERROR], S.ENTERED_IN_ERROR, id="only an error"),
        pytest.param([S.ENTERED_IN_ERROR, S.FULFILLED], S.FULFILLED, id="an error beside a held part"),
    ],
)
def test_a_visits_status_follows_its_children(children, status):
    """Derived from the parts, whatever their order."""
    assert status_of(children) == status
    assert status_of(reversed(children)) == status


def test_every_status_and_step_is_in_the_table():
    """No status is forgotten, and every step ends somewhere."""
    assert set(STEPS) == set(S)
    assert set(ENDS_IN) == set(Step)
    assert STEPS[S.FULFILLED] == {Step.UNDO, Step.ENTER_IN_ERROR}
    assert not STEPS[S.ENTERED_IN_ERROR]


@pytest.mark.parametrize(
    ("starts_at", "zone", "day"),
    [
        pytest.param("2026-01-22T00:30:00Z", "America/Chicago", date(2026, 1, 21), id="half past six in the evening"),
        pytest.param("2026-01-22T00:30:00Z", "Europe/Berlin", date(2026, 1, 22), id="the same instant elsewhere"),
        pytest.param("2026-01-22T05:59:59Z", "America/Chicago", date(2026, 1, 21), id="the day's last second"),
        pytest.param("2026-01-22T06:00:00Z", "America/Chicago", date(2026, 1, 22), id="the next day's first"),
    ],
)
def test_the_day_of_a_visit_is_the_sites(starts_at, zone, day):
    """An evening visit counts for the day on the wall, not for the next one in UTC."""
    assert service_date_of(datetime.fromisoformat(starts_at), zone) == day


def test_minutes_are_what_elapsed():
    """A started minute is not counted, and the clocks' change in March adds none."""
    start = datetime(2026, 3, 8, 7, 30, tzinfo=UTC)
    assert minutes_between(start, datetime(2026, 3, 8, 8, 14, 59, tzinfo=UTC)) == 44
