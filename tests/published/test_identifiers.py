"""Identifiers against the rules of those who issue them."""

import pytest

from clinic.rules.diagnosis_release import codes_of_release
from clinic.rules.identifiers import has_icd10cm_form, is_npi, npi_check_digit

# Source: CMS, "Requirements for NPI Check Digit" (Luhn formula, modulus 10 "double-add-double", computed as
# if the prefix 80840 stood before the number). Its example is the identifier 123456789; 1558598797 is a
# second, worked example on a page about the formula. The first digit is 1 or 2 (69 FR 3434).


def test_cms_example_of_the_npi_check_digit():
    """The identifier 123456789 has the check digit 3."""
    assert npi_check_digit("123456789") == 3
    assert is_npi("1234567893")


@pytest.mark.parametrize(("npi", "accepted"), [("1558598797", True), ("1558598796", False)])
def test_worked_npi_example(npi, accepted):
    """The worked example is accepted, with another last digit it is not."""
    assert is_npi(npi) is accepted


@pytest.mark.parametrize("first_nine", ["123456789", "155859879", "100000000", "299999999", "204060808"])
def test_the_prefix_is_worth_the_constant_24(first_nine):
    """The same CMS text's second way: leave the prefix out and add 24 to the sum."""
    doubled = "".join(str(2 * int(digit)) for digit in first_nine[::-2])
    total = 24 + sum(map(int, doubled)) + sum(map(int, first_nine[-2::-2]))
    assert npi_check_digit(first_nine) == (10 - total % 10) % 10


# Source: CMS data specification edit for ICD-10-CM: 3 to 7 characters, a letter, a digit, a letter or digit,
# a point after the third, letters or digits after it, case-insensitive; examples as given there.
@pytest.mark.parametrize("code", ["F84.0", "F82", "Q90.9", "R62.50", "C50.512", "S52.131A"])
def test_cms_examples_have_the_form_of_a_code(code):
    """Each example has the form of a code, in either case."""
    assert has_icd10cm_form(code)
    assert has_icd10cm_form(code.lower())


def test_the_letter_u_is_accepted():
    """An older manual (SEER, 2018) excludes U; U07.1 has stood since April 2020 (date from memory)."""
    assert has_icd10cm_form("U07.1")


def test_every_code_of_the_release_has_the_form():
    """All codes of the April 2026 release pass, QA0 and its kin too, whose second character is a letter."""
    assert [released.code for released in codes_of_release() if not has_icd10cm_form(released.code)] == []
