"""How old a child is: by the calendar, as test manuals subtract, and corrected for an early birth."""

from calendar import monthrange
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from typing import NamedTuple

TERM_WEEKS = 40
PRETERM_BEFORE_WEEKS = 37  # convention: a child born at 37 weeks or later is not corrected
CUT_OFF_MONTHS = 24
GESTATION_WEEKS = range(20, 46)
GESTATION_DAYS = range(7)


class AgeMethod(StrEnum):
    """How the days are subtracted; every report names the one it used."""

    CALENDAR = "calendar"
    BORROW_30 = "borrow_30"


class Correction(StrEnum):
    """Whether an age is corrected for an early birth, and if not, why."""

    APPLIES = "applies"
    GESTATION_UNKNOWN = "gestation_unknown"
    BORN_AT_TERM = "born_at_term"
    PAST_CUT_OFF = "past_cut_off"
    BEFORE_EXPECTED_DATE = "before_expected_date"


class AgeFault(StrEnum):
    """Why an age cannot be given."""

    BEFORE_BIRTH = "before_birth"
    IMPOSSIBLE_GESTATION = "impossible_gestation"


class AgeError(ValueError):
    """An age that does not exist; `code` says why."""

    def __init__(self, code: AgeFault) -> None:
        super().__init__(code.value)
        self.code = code


class Age(NamedTuple):
    """Completed years, months and days, written 1;11;29."""

    years: int
    months: int
    days: int

    def __str__(self) -> str:
        return f"{self.years};{self.months};{self.days}"


@dataclass(frozen=True)
class AgeReport:
    """A child's ages on a day, with the method they were counted by."""

    method: AgeMethod
    chronological: Age
    correction: Correction
    corrected: Age | None
    corrected_birth_date: date | None
    correction_stops_on: date | None


def add_months(day: date, months: int) -> date:
    """The same day so many months later or earlier, the month's last day where that day is missing."""
    years, month_index = divmod(day.year * 12 + day.month - 1 + months, 12)
    last_day = monthrange(years, month_index + 1)[1]
    return date(years, month_index + 1, min(day.day, last_day))


def birthday(birth_date: date, years: int) -> date:
    """The day on which that many years are completed; 29 February is kept on 28 February."""
    return add_months(birth_date, 12 * years)


def calendar_age(birth_date: date, on: date) -> Age:
    """Whole months by the calendar, then the days left over."""
    _require_born(birth_date, on)
    months = (on.year - birth_date.year) * 12 + on.month - birth_date.month
    if add_months(birth_date, months) > on:
        months -= 1
    years, odd_months = divmod(months, 12)
    return Age(years, odd_months, (on - add_months(birth_date, months)).days)


def borrow_30_age(birth_date: date, on: date) -> Age:
    """Column subtraction as test manuals print it: 30 days a borrowed month, 12 months a borrowed year."""
    _require_born(birth_date, on)
    years, months, days = on.year - birth_date.year, on.month - birth_date.month, on.day - birth_date.day
    if days < 0:
        months, days = months - 1, days + 30
    if months < 0:
        years, months = years - 1, months + 12
    return Age(years, months, days)


def age_on(birth_date: date, on: date, *, method: AgeMethod = AgeMethod.CALENDAR) -> Age:
    """The age on a day, counted by the method named."""
    if method == AgeMethod.BORROW_30:
        return borrow_30_age(birth_date, on)
    return calendar_age(birth_date, on)


def gestation_fault(weeks: int, days: int = 0) -> AgeFault | None:
    """Why no child is born after so many weeks and days, or None when one may be."""
    if weeks not in GESTATION_WEEKS or days not in GESTATION_DAYS:
        return AgeFault.IMPOSSIBLE_GESTATION
    return None


def corrected_birth_date(birth_date: date, *, gestation_weeks: int) -> date:
    """The day from which a corrected age counts: the birth, later by the weeks missing to 40."""
    return birth_date + timedelta(weeks=TERM_WEEKS - gestation_weeks)


def correction_stops_on(birth_date: date, *, cut_off_months: int = CUT_OFF_MONTHS) -> date:
    """The first day, by chronological age, on which an age is no longer corrected."""
    return add_months(birth_date, cut_off_months)


def correction_on(
    birth_date: date,
    on: date,
    *,
    gestation_weeks: int | None,
    cut_off_months: int | None = CUT_OFF_MONTHS,
) -> Correction:
    """Whether the age is corrected on that day; without a cut-off correction never stops."""
    if gestation_weeks is None:
        return Correction.GESTATION_UNKNOWN
    if gestation_weeks >= PRETERM_BEFORE_WEEKS:
        return Correction.BORN_AT_TERM
    if cut_off_months is not None and on >= correction_stops_on(birth_date, cut_off_months=cut_off_months):
        return Correction.PAST_CUT_OFF
    if on < corrected_birth_date(birth_date, gestation_weeks=gestation_weeks):
        return Correction.BEFORE_EXPECTED_DATE
    return Correction.APPLIES


def age_report(
    birth_date: date,
    on: date,
    *,
    gestation_weeks: int | None,
    gestation_days: int | None = None,
    cut_off_months: int | None = CUT_OFF_MONTHS,
    method: AgeMethod = AgeMethod.CALENDAR,
) -> AgeReport:
    """Both ages on a day; refuses a day before the birth and a gestation that cannot be."""
    chronological = age_on(birth_date, on, method=method)
    if gestation_weeks is None:
        if gestation_days is not None:
            raise AgeError(AgeFault.IMPOSSIBLE_GESTATION)
        return AgeReport(method, chronological, Correction.GESTATION_UNKNOWN, None, None, None)
    if fault := gestation_fault(gestation_weeks, gestation_days or 0):
        raise AgeError(fault)

    correction = correction_on(birth_date, on, gestation_weeks=gestation_weeks, cut_off_months=cut_off_months)
    if correction == Correction.BORN_AT_TERM:
        return AgeReport(method, chronological, correction, None, None, None)

    expected_on = corrected_birth_date(birth_date, gestation_weeks=gestation_weeks)
    return AgeReport(
        method=method,
        chronological=chronological,
        correction=correction,
        corrected=age_on(expected_on, on, method=method) if correction == Correction.APPLIES else None,
        corrected_birth_date=expected_on,
        correction_stops_on=(
            None if cut_off_months is None else correction_stops_on(birth_date, cut_off_months=cut_off_months)
        ),
    )


def _require_born(birth_date: date, on: date) -> None:
    if on < birth_date:
        raise AgeError(AgeFault.BEFORE_BIRTH)
