"""Ages against published definitions, printed examples and another library."""

from datetime import date, timedelta

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given, settings
from hypothesis import strategies as st

from clinic.rules.ages import (
    AgeMethod,
    Correction,
    add_months,
    age_on,
    age_report,
    borrow_30_age,
    calendar_age,
    corrected_birth_date,
)


# Source: a how-to page, "How to Calculate Chronological Age", method 1, by hand: subtract in three columns,
# borrow 30 days from the months and 12 months from the years; the page says that most test manuals do so
# and that some use the month's true length.
@pytest.mark.parametrize(
    ("born", "tested", "printed"),
    [
        pytest.param(date(2018, 3, 8), date(2025, 10, 20), "7;7;12", id="no-borrowing"),
        pytest.param(date(2019, 9, 18), date(2026, 2, 5), "6;4;17", id="days-and-months-borrowed"),
        pytest.param(date(1995, 2, 18), date(2026, 3, 25), "31;1;7", id="adult"),
    ],
)
def test_borrow_30_gives_the_printed_examples(born, tested, printed):
    """Column subtraction with 30 borrowed days agrees with the worked examples."""
    assert str(borrow_30_age(born, tested)) == printed


def test_the_borrowed_month_is_taken_once():
    """A circulating guide prints 33;3;25 here, having taken the borrowed month twice; 33;4;25 is right."""
    assert str(borrow_30_age(date(1990, 5, 15), date(2023, 10, 10))) == "33;4;25"
    assert str(calendar_age(date(1990, 5, 15), date(2023, 10, 10))) == "33;4;25"


# Source: the calendar method as python-dateutil's relativedelta counts it, clamping to the month's last day.
@settings(deadline=None)
@given(born=st.dates(date(1950, 1, 1), date(2090, 1, 1)), lived=st.integers(0, 40_000))
def test_the_calendar_age_is_what_relativedelta_counts(born, lived):
    """Years, months and days agree with an independent calendar library on any two days."""
    on = born + timedelta(days=lived)
    other = relativedelta(on, born)
    assert tuple(calendar_age(born, on)) == (other.years, other.months, other.days)


@settings(deadline=None)
@given(day=st.dates(date(1950, 1, 1), date(2090, 1, 1)), months=st.integers(-500, 500))
def test_months_are_added_as_relativedelta_adds_them(day, months):
    """So many months later or earlier is the same day in both, clamped alike."""
    assert add_months(day, months) == day + relativedelta(months=months)


# Source: American Academy of Pediatrics, Committee on Fetus and Newborn, "Age terminology during the
# perinatal period", Pediatrics 2004;114(5):1362-1364. Corrected age is the chronological age less the weeks
# born before 40 weeks; gestational age is in completed weeks, "a 25-week, 5-day fetus is considered a
# 25-week fetus". Its example of 24 months at 28 weeks giving 21 months is quoted from memory.
def test_aap_2004_example_of_a_child_born_at_28_weeks():
    """24 months less 12 weeks: counted by days 1;9;6, whose completed months are the statement's 21."""
    corrected = age_report(date(2023, 1, 15), date(2025, 1, 15), gestation_weeks=28, cut_off_months=36).corrected
    assert str(corrected) == "1;9;6"
    assert 12 * corrected.years + corrected.months == 21


def test_aap_2004_gestational_age_is_in_completed_weeks():
    """25 weeks and 5 days are 25 weeks, never 26: 15 weeks are taken off."""
    found = age_report(date(2025, 1, 1), date(2025, 12, 1), gestation_weeks=25, gestation_days=5)
    assert found.corrected_birth_date == date(2025, 1, 1) + timedelta(weeks=15)


def test_six_months_at_28_weeks_are_about_three_months():
    """The common secondary example (6 months, 28 weeks: 3 months), by days 3 months and 5 days."""
    found = age_report(date(2025, 1, 1), date(2025, 7, 1), gestation_weeks=28)
    assert str(found.corrected) == "0;3;5"


def test_ten_weeks_early_at_twenty_weeks_is_ten_weeks():
    """A neonatal glossary's example: born at 30 weeks, seen at 20 weeks, corrected age 10 weeks."""
    born = date(2025, 1, 1)
    counted_from = corrected_birth_date(born, gestation_weeks=30)
    assert born + timedelta(weeks=20) - counted_from == timedelta(weeks=10)


# Source: preterm is "before 37 completed weeks" (World Health Organization; quoted from memory). That an age
# is corrected up to 24 months is common practice (Pediatrics 2024;153(2)); the 2004 statement says 3 years.
def test_born_at_37_weeks_is_not_preterm():
    """At 36 weeks and 6 days an age is corrected, at 37 weeks it is not."""
    born, seen = date(2025, 1, 1), date(2025, 6, 1)
    assert age_report(born, seen, gestation_weeks=36, gestation_days=6).correction == Correction.APPLIES
    assert age_report(born, seen, gestation_weeks=37).correction == Correction.BORN_AT_TERM


# Source: computed by hand from the two definitions above, where they part.
@pytest.mark.parametrize(
    ("born", "tested", "borrow_30", "calendar"),
    [
        pytest.param(date(2020, 2, 29), date(2025, 2, 28), "4;11;29", "5;0;0", id="leap-day"),
        pytest.param(date(2020, 1, 31), date(2025, 3, 1), "5;1;0", "5;1;1", id="january-31"),
        pytest.param(date(2019, 12, 31), date(2025, 3, 30), "5;2;29", "5;2;30", id="december-31"),
        pytest.param(date(2021, 5, 31), date(2025, 3, 1), "3;9;0", "3;9;1", id="may-31"),
        pytest.param(date(2019, 9, 18), date(2026, 2, 5), "6;4;17", "6;4;18", id="december-has-31"),
    ],
)
def test_where_the_two_methods_part(born, tested, borrow_30, calendar):
    """The same two days give different ages, which is why a report names its method."""
    assert str(age_on(born, tested, method=AgeMethod.BORROW_30)) == borrow_30
    assert str(age_on(born, tested, method=AgeMethod.CALENDAR)) == calendar
