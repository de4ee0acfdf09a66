"""Identifiers that carry their own proof of form."""

import re

NPI_FORM = re.compile(r"[12][0-9]{9}")
NPI_PREFIX = "80840"  # the card issuer number under which the check digit is computed

# The second character is a digit in the CMS edit; categories added since have a letter there (QA0).
ICD10CM_FORM = re.compile(r"[A-Za-z][0-9A-Za-z]{2}(\.[0-9A-Za-z]{1,4})?")


def is_npi(value: str) -> bool:
    """True for ten digits, the first 1 or 2, whose last one is the check digit of the rest."""
    return NPI_FORM.fullmatch(value) is not None and npi_check_digit(value[:9]) == int(value[9])


def npi_check_digit(first_nine: str) -> int:
    """The Luhn digit of the issuer prefix and a provider's first nine digits."""
    total = 0
    for position, digit in enumerate(reversed(NPI_PREFIX + first_nine)):
        doubled = int(digit) * (2 if position % 2 == 0 else 1)
        total += doubled - 9 if doubled > 9 else doubled
    return -total % 10


def has_icd10cm_form(code: str) -> bool:
    """True for three characters, then a point and up to four more where there are any, in either case."""
    return ICD10CM_FORM.fullmatch(code) is not None
