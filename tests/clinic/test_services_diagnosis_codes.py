"""The table of diagnosis codes, release after release."""

from datetime import date

import pytest
from django.core.management import call_command

from clinic.models import DiagnosisCode
from clinic.rules.diagnoses import DiagnosisRefusal, diagnosis_refusal
from clinic.rules.diagnosis_release import RELEASE_STARTS_ON, ReleasedCode
from clinic.selectors.diagnoses import code_periods
from clinic.services.diagnosis_codes import load_release

pytestmark = pytest.mark.django_db

APRIL, OCTOBER = date(2026, 4, 1), date(2026, 10, 1)
FIRST = [ReleasedCode("A10", "Things", False), ReleasedCode("A10.1", "One", True), ReleasedCode("A10.2", "Two", True)]
SECOND = [
    ReleasedCode("A10", "Things", False),
    ReleasedCode("A10.1", "One, renamed", True),
    ReleasedCode("A10.3", "Three", True),
    ReleasedCode("A10.30", "Three, nearer", True),
]


def held():
    rows = DiagnosisCode.objects.order_by("code", "valid_from")
    return [(row.code, row.billable, row.valid_from, row.valid_until) for row in rows]


def test_the_first_release_stands_since_the_codes_are_in_use():
    """A visit before the release was loaded finds its code; loaded again, nothing changes."""
    assert load_release(FIRST, starts_on=APRIL) == (3, 0, 0)
    assert {row[2] for row in held()} == {date(2015, 10, 1)}
    assert load_release(FIRST, starts_on=APRIL) == (0, 0, 0)
    assert DiagnosisCode.objects.count() == 3
    assert diagnosis_refusal("A10.1", on=date(2024, 1, 1), periods=code_periods("A10.1")) is None


def test_a_later_release_adds_renames_and_ends():
    """What is gone ends the day before; the day of service decides."""
    load_release(FIRST, starts_on=APRIL)
    assert load_release(SECOND, starts_on=OCTOBER) == (2, 1, 1)
    assert held() == [
        ("A10", False, date(2015, 10, 1), None),
        ("A10.1", True, date(2015, 10, 1), None),
        ("A10.2", True, date(2015, 10, 1), date(2026, 9, 30)),
        ("A10.3", True, OCTOBER, None),
        ("A10.30", True, OCTOBER, None),
    ]
    assert diagnosis_refusal("A10.2", on=date(2026, 9, 30), periods=code_periods("A10.2")) is None
    refusal = diagnosis_refusal("A10.2", on=OCTOBER, periods=code_periods("A10.2"))
    assert refusal == DiagnosisRefusal.EXPIRED
    assert load_release(SECOND, starts_on=OCTOBER) == (0, 0, 0)


def test_a_code_that_is_divided_stays_billable_until_then():
    load_release(FIRST, starts_on=APRIL)
    divided = [*FIRST[:1], ReleasedCode("A10.1", "One", False), FIRST[2]]
    assert load_release(divided, starts_on=OCTOBER) == (1, 0, 1)
    assert diagnosis_refusal("A10.1", on=date(2026, 9, 30), periods=code_periods("A10.1")) is None
    refusal = diagnosis_refusal("A10.1", on=OCTOBER, periods=code_periods("A10.1"))
    assert refusal == DiagnosisRefusal.NOT_BILLABLE


def test_the_command_loads_the_installed_release(capsys, monkeypatch):
    """It says what it did, and the second time that there was nothing to do."""
    monkeypatch.setattr("clinic.management.commands.load_diagnosis_codes.codes_of_release", lambda: iter(FIRST))
    call_command("load_diagnosis_codes")
    call_command("load_diagnosis_codes")
    assert capsys.readouterr().out.splitlines() == [
        f"Release of {RELEASE_STARTS_ON}: 3 codes added, 0 changed, 0 ended.",
        f"Release of {RELEASE_STARTS_ON}: 0 codes added, 0 changed, 0 ended.",
    ]
