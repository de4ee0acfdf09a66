"""A child's ages in one plain sentence."""

from datetime import date

from clinic.rules.ages import Age, AgeMethod, AgeReport, Correction

METHODS = {
    AgeMethod.CALENDAR: "by the calendar",
    AgeMethod.BORROW_30: "by column subtraction with months of 30 days",
}
UNCORRECTED = {
    Correction.GESTATION_UNKNOWN: "It is not corrected: the weeks of gestation are not recorded",
    Correction.BORN_AT_TERM: "It is not corrected: the child was born at term",
    Correction.PAST_CUT_OFF: "It is not corrected any more: the organization's cut-off was reached on {stops_on}",
    Correction.BEFORE_EXPECTED_DATE: "It cannot be corrected yet: the expected date of birth is {expected_on}",
}


def age_sentence(report: AgeReport, *, on: date) -> str:
    """What the ages are, by which method, and whether and why one is corrected."""
    told = f"On {on} the child is {age_in_words(report.chronological)} old, counted {METHODS[report.method]}."
    if report.corrected is None:
        text = UNCORRECTED[report.correction].format(
            stops_on=report.correction_stops_on, expected_on=report.corrected_birth_date
        )
        return f"{told} {text}."
    until = f", until {report.correction_stops_on}" if report.correction_stops_on else ""
    corrected = age_in_words(report.corrected)
    return f"{told} Corrected for the early birth, from {report.corrected_birth_date}, it is {corrected}{until}."


def age_in_words(age: Age) -> str:
    return f"{_counted(age.years, 'year')}, {_counted(age.months, 'month')} and {_counted(age.days, 'day')}"


def _counted(number: int, unit: str) -> str:
    return f"{number} {unit}" if number == 1 else f"{number} {unit}s"
