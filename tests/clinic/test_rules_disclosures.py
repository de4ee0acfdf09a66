"""Which disclosures an account lists. Sources: 34 CFR 99.32(d); 45 CFR 164.528(a)(1), this one from memory."""

from datetime import date

import pytest

from clinic.enums import DisclosureAuthority as A
from clinic.enums import RecordRegime
from clinic.rules.disclosures import LEFT_OUT, account_starts, held_on

DAY = date(2026, 3, 4)


@pytest.mark.parametrize(
    ("authority", "health", "education"),
    [
        pytest.param(A.FAMILY, False, False, id="to the child and the parent: in neither"),
        pytest.param(A.AUTHORIZATION, False, False, id="under an authorization, with written consent: in neither"),
        pytest.param(
            A.TREATMENT_PAYMENT_OPERATIONS, False, True, id="for care and its payment: not of a health record"
        ),
        pytest.param(A.SCHOOL_OFFICIAL, True, False, id="to a school official: not of an education record"),
        pytest.param(A.DIRECTORY_INFORMATION, True, False, id="a directory's: not of an education record"),
        pytest.param(A.OTHER_SCHOOL, True, True, id="to the next school"),
        pytest.param(A.COURT_ORDER, True, True, id="to a court"),
        pytest.param(A.ABUSE_OR_NEGLECT_REPORT, True, True, id="a report of abuse"),
        pytest.param(A.OVERSIGHT, True, True, id="to an authority"),
        pytest.param(A.HEALTH_OR_SAFETY_EMERGENCY, True, True, id="in an emergency"),
        pytest.param(A.NONE, True, True, id="by no right: above all this"),
    ],
)
def test_what_an_account_lists(authority, health, education):
    """Each law leaves out its own."""
    assert (authority not in LEFT_OUT[RecordRegime.HEALTH]) is health
    assert (authority not in LEFT_OUT[RecordRegime.EDUCATION]) is education


@pytest.mark.parametrize(
    ("asked_on", "first"),
    [(date(2026, 3, 4), date(2020, 3, 4)), (date(2028, 2, 29), date(2022, 2, 28))],
)
def test_an_account_goes_six_years_back(asked_on, first):
    assert account_starts(asked_on) == first


@pytest.mark.parametrize(
    ("consent", "held"),
    [
        pytest.param((date(2026, 3, 4), None, None), True, id="from that day on"),
        pytest.param((date(2026, 3, 5), None, None), False, id="from the next"),
        pytest.param((date(2026, 1, 1), DAY, None), True, id="its last day"),
        pytest.param((date(2026, 1, 1), date(2026, 3, 3), None), False, id="run out"),
        pytest.param((date(2026, 1, 1), None, DAY), False, id="taken back that day"),
        pytest.param((date(2026, 1, 1), None, date(2026, 3, 5)), True, id="taken back after"),
    ],
)
def test_a_consent_held_on_the_day(consent, held):
    starts_on, ends_on, revoked_on = consent
    assert held_on(DAY, starts_on=starts_on, ends_on=ends_on, revoked_on=revoked_on) is held
