"""Diagnosis codes against the ICD-10-CM release of April 2026 (CDC/NCHS, as packaged in simple_icd_10_cm)."""

import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

from clinic.rules.diagnoses import CodePeriod, DiagnosisRefusal, diagnosis_refusal
from clinic.rules.diagnosis_release import RELEASE_STARTS_ON, codes_of_release

TOP = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def released():
    """Each code of the release by its name."""
    return {entry.code: entry for entry in codes_of_release()}


def periods_of(entry):
    """The release as the table holds it: in force since before the table began."""
    return [CodePeriod(entry.code, billable=entry.billable, starts_on=None, ends_on=None)]


@pytest.mark.parametrize(
    ("code", "title"),
    [
        ("F84.0", "Autistic disorder"),
        ("F82", "Specific developmental disorder of motor function"),
        ("Q90.9", "Down syndrome, unspecified"),
        ("R62.50", "Unspecified lack of expected normal physiological development in childhood"),
        ("U07.1", "COVID-19"),
        ("R63.32", "Pediatric feeding disorder, chronic"),
        ("QA0.0101", "SCN2A-related neurodevelopmental disorder"),
    ],
)
def test_codes_of_the_release_may_stand(released, code, title):
    """Codes without codes below them may stand for a visit."""
    assert released[code].title == title
    assert diagnosis_refusal(code, on=RELEASE_STARTS_ON, periods=periods_of(released[code])) is None


@pytest.mark.parametrize("code", ["F84", "Q90", "R62.5", "R63.3", "S52.131", "C50", "QA0"])
def test_categories_may_not_stand(released, code):
    """A category whose codes are finer is not billable; S52.131 lacks its seventh character."""
    refusal = diagnosis_refusal(code, on=RELEASE_STARTS_ON, periods=periods_of(released[code]))
    assert refusal == DiagnosisRefusal.NOT_BILLABLE


def test_seventh_characters_are_codes_of_their_own(released):
    """Only with its seventh character is a fracture's code complete."""
    assert released["S52.131A"].billable


def test_a_category_named_like_its_block_is_listed_once(released):
    """B20 is a block and a category in one, and billable; C50 likewise, and not."""
    codes = [entry.code for entry in codes_of_release() if entry.code in {"B20", "C50"}]
    assert codes == ["B20", "C50"]
    assert (released["B20"].billable, released["C50"].billable) == (True, False)


def test_no_chapter_and_no_block_is_among_the_codes(released):
    """Chapters (1 to 22) and blocks (A00-A09) are headings."""
    assert not any(code.isdigit() or "-" in code for code in released)


def test_number_of_billable_codes(released):
    """74,044 in fiscal 2024; 2025 added 252 and dropped 36 (from memory); 2026 added 487 and dropped 28."""
    assert sum(entry.billable for entry in released.values()) == 74_044 + 252 - 36 + 487 - 28


# Source: American Speech-Language-Hearing Association, ICD-10-CM code changes for 2022: from 1 October 2021
# R63.3 is a "revised category, do not report on claim", and R63.30 to R63.39 are new.
R63_3 = [
    CodePeriod("R63.3", billable=True, starts_on=date(2015, 10, 1), ends_on=date(2021, 9, 30)),
    CodePeriod("R63.3", billable=False, starts_on=date(2021, 10, 1), ends_on=None),
]
R63_32 = [CodePeriod("R63.32", billable=True, starts_on=date(2021, 10, 1), ends_on=None)]


@pytest.mark.parametrize(
    ("code", "periods", "on", "refusal"),
    [
        pytest.param("R63.3", R63_3, date(2021, 9, 30), None, id="old-code-on-its-last-day"),
        pytest.param("R63.3", R63_3, date(2021, 10, 1), DiagnosisRefusal.NOT_BILLABLE, id="old-code-after"),
        pytest.param("R63.32", R63_32, date(2021, 9, 30), DiagnosisRefusal.NOT_YET_VALID, id="new-code-before"),
        pytest.param("R63.32", R63_32, date(2021, 10, 1), None, id="new-code-on-its-first-day"),
    ],
)
def test_the_date_of_service_decides_at_a_change_of_code(code, periods, on, refusal):
    """A visit of September 2021 takes the old code, one of October the new."""
    assert diagnosis_refusal(code, on=on, periods=periods) == refusal


def test_the_classification_is_not_loaded_until_it_is_asked_for():
    """Importing the rule costs a web process nothing: the classification is read only by who lists it."""
    asked = "import sys, clinic.rules.diagnosis_release; print('simple_icd_10_cm' in sys.modules)"
    answer = subprocess.run([sys.executable, "-c", asked], cwd=TOP, capture_output=True, text=True, check=True)
    assert answer.stdout == "False\n"
