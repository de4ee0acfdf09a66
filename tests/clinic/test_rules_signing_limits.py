"""Until when a signature is in time: business days, elapsed hours, local days."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from clinic.rules.signing_limits import (
    Lateness,
    cosign_due_at,
    days_limit,
    end_of_local_day,
    hours_limit,
    late_entry_sentence,
    lateness,
    sign_limit,
    turnaround_days,
)

NEW_YORK = ZoneInfo("America/New_York")
CHICAGO = ZoneInfo("America/Chicago")


@pytest.mark.parametrize(
    ("service_date", "business_days", "holidays", "limit"),
    [
        pytest.param(date(2026, 3, 13), 2, [], date(2026, 3, 17), id="friday-over-the-weekend"),
        pytest.param(date(2026, 3, 10), 2, [], date(2026, 3, 12), id="tuesday"),
        pytest.param(date(2026, 3, 14), 2, [], date(2026, 3, 17), id="saturday"),
        pytest.param(date(2026, 3, 13), 2, [date(2026, 3, 16)], date(2026, 3, 18), id="holiday-on-monday"),
        pytest.param(date(2026, 3, 13), 1, [date(2026, 3, 14)], date(2026, 3, 16), id="holiday-on-saturday"),
        pytest.param(date(2026, 3, 16), 2, [date(2026, 3, 16)], date(2026, 3, 18), id="visit-on-a-holiday"),
        pytest.param(date(2026, 3, 14), 0, [], date(2026, 3, 14), id="the-same-day"),
    ],
)
def test_sign_limit(service_date, business_days, holidays, limit):
    """Weekends and holidays after the visit are not counted; the visit's own day never is."""
    assert sign_limit(service_date, business_days=business_days, holidays=holidays) == limit


def test_a_negative_limit_is_refused():
    """A limit before the visit is no limit."""
    with pytest.raises(ValueError, match="negative"):
        sign_limit(date(2026, 3, 13), business_days=-1)


@pytest.mark.parametrize(
    ("ended", "due", "wall"),
    [
        pytest.param(
            datetime(2026, 3, 7, 16, 45, tzinfo=NEW_YORK),
            datetime(2026, 3, 9, 21, 45, tzinfo=UTC),
            "17:45 EDT",
            id="clocks-go-forward",
        ),
        pytest.param(
            datetime(2026, 10, 31, 16, 45, tzinfo=NEW_YORK),
            datetime(2026, 11, 2, 20, 45, tzinfo=UTC),
            "15:45 EST",
            id="clocks-go-back",
        ),
        pytest.param(
            datetime(2026, 3, 7, 21, 45, tzinfo=UTC),
            datetime(2026, 3, 9, 21, 45, tzinfo=UTC),
            "17:45 EDT",
            id="said-in-utc",
        ),
    ],
)
def test_48_hours_elapse(ended, due, wall):
    """Forty-eight hours are forty-eight hours, though the wall clock says 47 or 49."""
    limit = hours_limit(ended, hours=48)
    assert (limit, limit.tzinfo) == (due, UTC)
    assert limit.astimezone(NEW_YORK).strftime("%H:%M %Z") == wall


def test_two_days_end_with_the_local_day():
    """A visit that ended on Saturday 7 March may be signed until the end of Monday the 9th."""
    ended = datetime(2026, 3, 7, 16, 45, tzinfo=NEW_YORK)
    assert days_limit(ended, days=2, zone=NEW_YORK) == date(2026, 3, 9)
    assert end_of_local_day(date(2026, 3, 9), zone=NEW_YORK) == datetime(2026, 3, 10, 4, tzinfo=UTC)


@pytest.mark.parametrize(
    ("moment", "day"),
    [
        pytest.param(datetime(2026, 1, 22, 0, 30, tzinfo=UTC), date(2026, 1, 21), id="evening-before-in-utc"),
        pytest.param(datetime(2026, 1, 22, 6, 0, tzinfo=UTC), date(2026, 1, 22), id="local-midnight"),
    ],
)
def test_the_day_is_the_sites_day(moment, day):
    """An instant belongs to the day that it had at the site."""
    assert days_limit(moment, days=0, zone=CHICAGO) == day


@pytest.mark.parametrize(
    ("day", "over"),
    [
        pytest.param(date(2026, 3, 8), datetime(2026, 3, 9, 4, tzinfo=UTC), id="day-of-23-hours"),
        pytest.param(date(2026, 11, 1), datetime(2026, 11, 2, 5, tzinfo=UTC), id="day-of-25-hours"),
    ],
)
def test_end_of_local_day_where_clocks_change(day, over):
    """The day is over at the next local midnight, however long it was."""
    assert end_of_local_day(day, zone=NEW_YORK) == over


def test_a_day_whose_next_midnight_does_not_exist():
    """In Havana clocks go from 0:00 to 1:00 on 8 March 2026: Saturday is over at that very instant."""
    assert end_of_local_day(date(2026, 3, 7), zone=ZoneInfo("America/Havana")) == datetime(2026, 3, 8, 5, tzinfo=UTC)


@pytest.mark.parametrize(
    ("signed_at", "due"),
    [
        pytest.param(datetime(2026, 3, 12, 17, tzinfo=CHICAGO), date(2026, 3, 19), id="first-version"),
        pytest.param(datetime(2026, 3, 17, 9, tzinfo=CHICAGO), date(2026, 3, 24), id="second-version"),
    ],
)
def test_cosign_due_at(signed_at, due):
    """A version signed on a day is to be co-signed by the end of the seventh local day after it."""
    assert days_limit(signed_at, days=7, zone=CHICAGO) == due
    assert cosign_due_at(signed_at, days=7, zone=CHICAGO) == end_of_local_day(due, zone=CHICAGO)


def test_turnaround_is_counted_from_the_first_signature():
    """Signed first on 12 March, co-signed on the 18th: six days, whichever version it was."""
    first, decided = datetime(2026, 3, 12, 23, tzinfo=CHICAGO), datetime(2026, 3, 18, 8, tzinfo=CHICAGO)
    assert turnaround_days(first, decided, zone=CHICAGO) == 6


@pytest.mark.parametrize(
    ("service_date", "signed_on", "late"),
    [
        pytest.param(date(2026, 3, 13), date(2026, 3, 17), None, id="on-the-last-day"),
        pytest.param(date(2026, 3, 13), date(2026, 3, 13), None, id="the-same-day"),
        pytest.param(date(2026, 3, 10), date(2026, 4, 2), Lateness(date(2026, 3, 12), 23, 21), id="three-weeks"),
        pytest.param(date(2026, 3, 13), date(2026, 3, 18), Lateness(date(2026, 3, 17), 5, 1), id="one-day-past"),
    ],
)
def test_lateness(service_date, signed_on, late):
    """A signature is late from the day after its limit."""
    limit = sign_limit(service_date, business_days=2)
    assert lateness(service_date=service_date, signed_on=signed_on, limit=limit) == late


@pytest.mark.parametrize(
    ("late", "sentence"),
    [
        pytest.param(
            Lateness(date(2026, 3, 12), 23, 21),
            "late entry, 23 days after the visit, 21 past the limit (12 Mar)",
            id="days",
        ),
        pytest.param(
            Lateness(date(2026, 12, 31), 1, 1),
            "late entry, 1 day after the visit, 1 past the limit (31 Dec)",
            id="one-day",
        ),
    ],
)
def test_late_entry_sentence(late, sentence):
    """A late entry says how late it is, in plain words."""
    assert late_entry_sentence(late) == sentence


def test_a_naive_time_is_refused():
    """A time without an offset is no instant."""
    naive = datetime(2026, 3, 7, 16, 45)
    with pytest.raises(ValueError, match="offset"):
        hours_limit(naive, hours=48)
    with pytest.raises(ValueError, match="offset"):
        days_limit(naive, days=2, zone=NEW_YORK)
    with pytest.raises(ValueError, match="offset"):
        turnaround_days(naive, naive, zone=NEW_YORK)
