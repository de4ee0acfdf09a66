"""A diagnosis code must stand on the day of service."""

from datetime import date

import pytest

from clinic.enums import Setting
from clinic.rules.diagnoses import CodePeriod, DiagnosisRefusal, diagnosis_refusal, diagnosis_required

TABLE = [
    CodePeriod("A10", billable=False, starts_on=None, ends_on=None),
    CodePeriod("A10.1", billable=True, starts_on=None, ends_on=None),
    CodePeriod("A10.2", billable=True, starts_on=date(2025, 10, 1), ends_on=None),
    CodePeriod("A10.3", billable=True, starts_on=None, ends_on=date(2025, 9, 30)),
    CodePeriod("A10.4", billable=True, starts_on=None, ends_on=date(2025, 9, 30)),
    CodePeriod("A10.4", billable=False, starts_on=date(2025, 10, 1), ends_on=None),
    CodePeriod("A10.5", billable=True, starts_on=date(2020, 10, 1), ends_on=date(2021, 9, 30)),
    CodePeriod("A10.5", billable=True, starts_on=date(2025, 10, 1), ends_on=None),
]
LAST_DAY, FIRST_DAY = date(2025, 9, 30), date(2025, 10, 1)


@pytest.mark.parametrize(
    ("code", "on", "refusal"),
    [
        pytest.param("A10.1", FIRST_DAY, None, id="in-force"),
        pytest.param("a10.1", FIRST_DAY, None, id="small-letters"),
        pytest.param("A101", FIRST_DAY, DiagnosisRefusal.MALFORMED, id="no-point"),
        pytest.param("", FIRST_DAY, DiagnosisRefusal.MALFORMED, id="empty"),
        pytest.param("A10.9", FIRST_DAY, DiagnosisRefusal.UNKNOWN, id="unknown"),
        pytest.param("A10", FIRST_DAY, DiagnosisRefusal.NOT_BILLABLE, id="category"),
        pytest.param("A10.2", FIRST_DAY, None, id="first-day"),
        pytest.param("A10.2", LAST_DAY, DiagnosisRefusal.NOT_YET_VALID, id="day-before-the-first"),
        pytest.param("A10.3", LAST_DAY, None, id="last-day"),
        pytest.param("A10.3", FIRST_DAY, DiagnosisRefusal.EXPIRED, id="day-after-the-last"),
        pytest.param("A10.4", LAST_DAY, None, id="before-it-was-divided"),
        pytest.param("A10.4", FIRST_DAY, DiagnosisRefusal.NOT_BILLABLE, id="since-it-was-divided"),
        pytest.param("A10.5", date(2019, 1, 1), DiagnosisRefusal.NOT_YET_VALID, id="before-both-periods"),
        pytest.param("A10.5", date(2021, 1, 1), None, id="first-period"),
        pytest.param("A10.5", date(2023, 1, 1), DiagnosisRefusal.EXPIRED, id="between-two-periods"),
        pytest.param("A10.5", FIRST_DAY, None, id="second-period"),
    ],
)
def test_diagnosis_refusal(code, on, refusal):
    """The day of service decides, whatever day it is today."""
    assert diagnosis_refusal(code, on=on, periods=TABLE) == refusal


def test_without_a_table_every_code_is_unknown():
    """A code of the right form that no table knows is unknown."""
    assert diagnosis_refusal("A10.1", on=FIRST_DAY, periods=[]) == DiagnosisRefusal.UNKNOWN


@pytest.mark.parametrize(
    ("setting", "required"),
    [
        pytest.param(Setting.OUTPATIENT, True, id="outpatient"),
        pytest.param(Setting.HOME, True, id="home"),
        pytest.param(Setting.EARLY_INTERVENTION, True, id="early-intervention"),
        pytest.param(Setting.SCHOOL, False, id="school"),
    ],
)
def test_diagnosis_required(setting, required):
    """Therapy at school rests on the school plan and needs no diagnosis code."""
    assert diagnosis_required(setting) is required
