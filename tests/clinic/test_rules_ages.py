"""How old a child is: both methods, the correction for an early birth, anniversaries."""

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinic.rules.ages import (
    Age,
    AgeError,
    AgeFault,
    AgeMethod,
    AgeReport,
    Correction,
    add_months,
    age_on,
    age_report,
    birthday,
    borrow_30_age,
    calendar_age,
    corrected_birth_date,
    correction_stops_on,
    gestation_fault,
)

LEAP_CHILD = date(2024, 2, 29)


@pytest.mark.parametrize(
    ("born", "on", "calendar", "borrow_30"),
    [
        pytest.param(LEAP_CHILD, date(2026, 2, 27), "1;11;29", "1;11;28", id="leap-child-day-before"),
        pytest.param(LEAP_CHILD, date(2026, 2, 28), "2;0;0", "1;11;29", id="leap-child-second-birthday"),
        pytest.param(date(2020, 2, 29), date(2025, 2, 28), "5;0;0", "4;11;29", id="leap-child-fifth-birthday"),
        pytest.param(date(2020, 1, 31), date(2025, 3, 1), "5;1;1", "5;1;0", id="after-a-short-month"),
        pytest.param(date(2019, 12, 31), date(2025, 3, 30), "5;2;30", "5;2;29", id="thirty-days-over"),
        pytest.param(date(2021, 5, 31), date(2025, 3, 1), "3;9;1", "3;9;0", id="last-day-of-may"),
        pytest.param(date(2019, 9, 18), date(2026, 2, 5), "6;4;18", "6;4;17", id="borrowed-from-a-long-month"),
        pytest.param(date(2018, 3, 8), date(2025, 10, 20), "7;7;12", "7;7;12", id="nothing-borrowed"),
        pytest.param(date(2019, 6, 3), date(2026, 6, 3), "7;0;0", "7;0;0", id="birthday-itself"),
        pytest.param(date(2026, 3, 3), date(2026, 3, 3), "0;0;0", "0;0;0", id="day-of-birth"),
    ],
)
def test_the_two_methods(born, on, calendar, borrow_30):
    """Each method gives its own age, and the method that is asked for is the one that answers."""
    assert str(calendar_age(born, on)) == calendar
    assert str(borrow_30_age(born, on)) == borrow_30
    assert str(age_on(born, on, method=AgeMethod.CALENDAR)) == calendar
    assert str(age_on(born, on, method=AgeMethod.BORROW_30)) == borrow_30


@pytest.mark.parametrize("method", list(AgeMethod))
def test_no_age_before_birth(method):
    """A day before the birth has no age by any method."""
    with pytest.raises(AgeError) as refused:
        age_on(LEAP_CHILD, date(2024, 2, 28), method=method)
    assert refused.value.code == AgeFault.BEFORE_BIRTH


@pytest.mark.parametrize(
    ("weeks", "days", "fault"),
    [
        pytest.param(20, 0, None, id="earliest"),
        pytest.param(45, 6, None, id="latest"),
        pytest.param(19, 6, AgeFault.IMPOSSIBLE_GESTATION, id="too-early"),
        pytest.param(46, 0, AgeFault.IMPOSSIBLE_GESTATION, id="too-late"),
        pytest.param(31, 7, AgeFault.IMPOSSIBLE_GESTATION, id="seven-days-are-a-week"),
        pytest.param(31, -1, AgeFault.IMPOSSIBLE_GESTATION, id="negative-days"),
        pytest.param(0, 0, AgeFault.IMPOSSIBLE_GESTATION, id="zero"),
    ],
)
def test_gestation_fault(weeks, days, fault):
    """A gestation has 20 to 45 weeks and 0 to 6 days over."""
    assert gestation_fault(weeks, days) == fault


def report(on, **overrides):
    """The leap-day child, born at 31 weeks 2 days, on a day."""
    asked = {"gestation_weeks": 31, "gestation_days": 2} | overrides
    return age_report(LEAP_CHILD, on, **asked)


def test_corrected_age_of_the_leap_child():
    """Nine missing weeks move the birth 63 days on; both ages are given with the method named."""
    assert report(date(2026, 2, 27)) == AgeReport(
        method=AgeMethod.CALENDAR,
        chronological=Age(1, 11, 29),
        correction=Correction.APPLIES,
        corrected=Age(1, 9, 25),
        corrected_birth_date=date(2024, 5, 2),
        correction_stops_on=date(2026, 2, 28),
    )


def test_correction_stops_at_the_cut_off_of_the_chronological_age():
    """On the second birthday correction has stopped, by either method of counting."""
    by_calendar = report(date(2026, 2, 28))
    assert (str(by_calendar.chronological), by_calendar.correction) == ("2;0;0", Correction.PAST_CUT_OFF)
    assert by_calendar.corrected is None

    by_manual = report(date(2026, 2, 28), method=AgeMethod.BORROW_30)
    assert (str(by_manual.chronological), by_manual.method) == ("1;11;29", AgeMethod.BORROW_30)
    assert by_manual.correction == Correction.PAST_CUT_OFF


@pytest.mark.parametrize(
    ("on", "overrides", "correction", "corrected"),
    [
        pytest.param(date(2026, 2, 28), {"cut_off_months": 36}, Correction.APPLIES, "1;9;26", id="later-cut-off"),
        pytest.param(date(2034, 2, 28), {"cut_off_months": None}, Correction.APPLIES, "9;9;26", id="no-cut-off"),
        pytest.param(date(2024, 5, 2), {}, Correction.APPLIES, "0;0;0", id="expected-date"),
        pytest.param(date(2024, 5, 1), {}, Correction.BEFORE_EXPECTED_DATE, "None", id="before-expected-date"),
        pytest.param(date(2025, 1, 1), {"gestation_weeks": 36}, Correction.APPLIES, "0;9;4", id="36-weeks"),
        pytest.param(date(2025, 1, 1), {"gestation_weeks": 37}, Correction.BORN_AT_TERM, "None", id="37-weeks"),
        pytest.param(date(2025, 1, 1), {"gestation_weeks": 42}, Correction.BORN_AT_TERM, "None", id="42-weeks"),
        pytest.param(
            date(2025, 1, 1),
            {"gestation_weeks": None, "gestation_days": None},
            Correction.GESTATION_UNKNOWN,
            "None",
            id="gestation-unknown",
        ),
    ],
)
def test_when_an_age_is_corrected(on, overrides, correction, corrected):
    """Only a child born before 37 weeks, between the expected date and the cut-off, has a corrected age."""
    found = report(on, **overrides)
    assert (found.correction, str(found.corrected)) == (correction, corrected)


def test_days_of_gestation_never_round_a_week_up():
    """31 weeks and 6 days are 31 completed weeks."""
    assert report(date(2026, 2, 27), gestation_days=6) == report(date(2026, 2, 27), gestation_days=0)


@pytest.mark.parametrize(
    "gestation",
    [
        pytest.param({"gestation_weeks": 19, "gestation_days": 0}, id="too-short"),
        pytest.param({"gestation_weeks": 31, "gestation_days": 7}, id="eighth-day"),
        pytest.param({"gestation_weeks": None, "gestation_days": 2}, id="days-without-weeks"),
    ],
)
def test_an_impossible_gestation_gives_no_age(gestation):
    """A gestation that cannot be is refused, not guessed at."""
    with pytest.raises(AgeError) as refused:
        report(date(2026, 2, 27), **gestation)
    assert refused.value.code == AgeFault.IMPOSSIBLE_GESTATION


def test_corrected_birth_date_and_the_day_correction_stops():
    """Both days can be asked for by themselves."""
    assert corrected_birth_date(LEAP_CHILD, gestation_weeks=31) == date(2024, 5, 2)
    assert correction_stops_on(LEAP_CHILD) == date(2026, 2, 28)
    assert correction_stops_on(LEAP_CHILD, cut_off_months=36) == date(2027, 2, 28)


@pytest.mark.parametrize(
    ("day", "months", "moved"),
    [
        pytest.param(date(2026, 8, 31), 6, date(2027, 2, 28), id="six-months-clamp-to-february"),
        pytest.param(date(2027, 2, 28), -9, date(2026, 5, 28), id="nine-months-earlier"),
        pytest.param(date(2028, 2, 29), 12, date(2029, 2, 28), id="a-year-after-leap-day"),
        pytest.param(date(2024, 2, 29), 48, date(2028, 2, 29), id="leap-day-to-leap-day"),
        pytest.param(date(2026, 1, 31), 1, date(2026, 2, 28), id="january-to-february"),
        pytest.param(date(2026, 12, 15), 1, date(2027, 1, 15), id="over-new-year"),
        pytest.param(date(2026, 1, 15), -1, date(2025, 12, 15), id="back-over-new-year"),
        pytest.param(date(2026, 5, 31), 0, date(2026, 5, 31), id="no-month"),
    ],
)
def test_add_months(day, months, moved):
    """Months clamp to the last day of a month that is too short."""
    assert add_months(day, months) == moved


@pytest.mark.parametrize(
    ("years", "kept_on"),
    [
        pytest.param(1, date(2025, 2, 28), id="first"),
        pytest.param(3, date(2027, 2, 28), id="third"),
        pytest.param(4, date(2028, 2, 29), id="fourth-in-a-leap-year"),
    ],
)
def test_birthday_of_a_leap_day_child(years, kept_on):
    """A child of 29 February has her birthday on the 28th when there is no 29th."""
    assert birthday(LEAP_CHILD, years) == kept_on


days = st.dates(min_value=date(1950, 1, 1), max_value=date(2100, 12, 31))


@settings(deadline=None)
@given(born=days, lived=st.integers(0, 40_000))
def test_a_calendar_age_leads_back_to_its_day(born, lived):
    """Birth, plus the months, plus the days left over, is the day that was asked about."""
    on = date.fromordinal(born.toordinal() + lived)
    age = calendar_age(born, on)
    counted_to = add_months(born, 12 * age.years + age.months)
    assert date.fromordinal(counted_to.toordinal() + age.days) == on
    assert 0 <= age.months < 12
    assert 0 <= age.days <= 30


@settings(deadline=None)
@given(born=days, lived=st.integers(0, 40_000))
def test_the_methods_never_part_by_more_than_three_days(born, lived):
    """Borrowing 30 differs from the calendar only in the length of the borrowed month, and is never negative."""
    on = date.fromordinal(born.toordinal() + lived)
    manual = borrow_30_age(born, on)
    assert min(manual) >= 0
    in_days = [age.years * 360 + age.months * 30 + age.days for age in (calendar_age(born, on), manual)]
    assert abs(in_days[0] - in_days[1]) <= 3
