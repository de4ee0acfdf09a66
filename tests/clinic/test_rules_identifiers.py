"""Identifiers are told apart by their form."""

import pytest

from clinic.rules.identifiers import has_icd10cm_form, is_npi, npi_check_digit


@pytest.mark.parametrize(
    ("value", "accepted"),
    [
        pytest.param("1234567893", True, id="right-check-digit"),
        pytest.param("1234567890", False, id="wrong-check-digit"),
        pytest.param("123456789", False, id="nine-digits"),
        pytest.param("12345678930", False, id="eleven-digits"),
        pytest.param("3234567896", False, id="first-digit-three"),
        pytest.param("", False, id="empty"),
        pytest.param("12345 7893", False, id="space"),
        pytest.param("1234567893\n", False, id="line-end"),
        pytest.param("\u0661234567893", False, id="other-digits"),
    ],
)
def test_is_npi(value, accepted):
    """Ten plain digits, the first 1 or 2, the last one right."""
    assert is_npi(value) is accepted


def test_every_other_last_digit_is_refused():
    """Of the ten last digits one is right."""
    assert [last for last in range(10) if is_npi(f"123456789{last}")] == [3]


def test_two_neighbours_changed_over_are_noticed():
    """The usual slip of the pen, two neighbouring digits changed over, gives another check digit."""
    assert npi_check_digit("124356789") != npi_check_digit("123456789")


@pytest.mark.parametrize(
    ("code", "accepted"),
    [
        pytest.param("F84.0", True, id="four-characters"),
        pytest.param("F82", True, id="three-characters"),
        pytest.param("S52.131A", True, id="seven-characters"),
        pytest.param("f84.0", True, id="small-letters"),
        pytest.param("U07.1", True, id="letter-u"),
        pytest.param("F840", False, id="no-point"),
        pytest.param("F84.", False, id="point-at-the-end"),
        pytest.param("F84.01234", False, id="too-long"),
        pytest.param("84.0", False, id="no-letter"),
        pytest.param("F8", False, id="too-short"),
        pytest.param("", False, id="empty"),
        pytest.param(" F84.0", False, id="space-before"),
        pytest.param("F84.0\n", False, id="line-end"),
        pytest.param("\u212a84.0", False, id="a-letter-that-only-looks-right"),
        pytest.param("F\u0668\u0664.0", False, id="other-digits"),
    ],
)
def test_has_icd10cm_form(code, accepted):
    """Three characters, then a point and up to four more; what exists is another question."""
    assert has_icd10cm_form(code) is accepted
