"""Who may decide, know and pick up on a day: what was granted, less what a court took."""

from datetime import date, timedelta
from uuid import UUID

import pytest

from clinic.enums import AuthorityKind
from clinic.rules.authorities import Observation, Span, Standing, observations, standings

A = AuthorityKind
MOTHER, FATHER, AUNT = (UUID(int=number) for number in (1, 2, 3))
DAY = date(2026, 9, 15)
BEFORE, AFTER = DAY - timedelta(days=1), DAY + timedelta(days=1)
BORN = date(2021, 5, 17)


def of(contact, *rights, taken=()):
    return {contact: Standing(held=frozenset(rights), taken=frozenset(taken))}


@pytest.mark.parametrize(
    ("granted", "taken", "expected"),
    [
        pytest.param([], [], {}, id="nobody"),
        pytest.param([Span(MOTHER, A.PICK_UP, DAY, DAY)], [], of(MOTHER, A.PICK_UP), id="on its one day"),
        pytest.param([Span(MOTHER, A.PICK_UP, AFTER)], [], {}, id="from tomorrow"),
        pytest.param([Span(MOTHER, A.PICK_UP, BEFORE, BEFORE)], [], {}, id="ended yesterday, gone today"),
        pytest.param([Span(AUNT, A.NONE, BEFORE)], [], of(AUNT), id="beside the child without any right"),
        pytest.param(
            [Span(AUNT, A.NONE, BEFORE), Span(AUNT, A.PICK_UP, BEFORE)], [], of(AUNT, A.PICK_UP), id="none adds nothing"
        ),
        pytest.param(
            [Span(MOTHER, A.CONSENT_TO_CARE, BEFORE), Span(FATHER, A.CONSENT_TO_CARE, BEFORE)],
            [],
            of(MOTHER, A.CONSENT_TO_CARE) | of(FATHER, A.CONSENT_TO_CARE),
            id="two at once",
        ),
        pytest.param(
            [Span(FATHER, A.INFORMATION, BEFORE), Span(FATHER, A.PICK_UP, BEFORE)],
            [Span(FATHER, A.INFORMATION, DAY)],
            of(FATHER, A.PICK_UP, taken=[A.INFORMATION]),
            id="a court takes one right and leaves the other",
        ),
        pytest.param(
            [Span(FATHER, A.INFORMATION, DAY)],
            [Span(FATHER, A.INFORMATION, BEFORE)],
            of(FATHER, taken=[A.INFORMATION]),
            id="granted anew under an order that holds",
        ),
        pytest.param(
            [Span(FATHER, A.INFORMATION, BEFORE)],
            [Span(FATHER, A.INFORMATION, BEFORE, BEFORE)],
            of(FATHER, A.INFORMATION),
            id="an order that ended gives it back",
        ),
        pytest.param(
            [Span(FATHER, A.INFORMATION, BEFORE)],
            [Span(FATHER, A.INFORMATION, AFTER)],
            of(FATHER, A.INFORMATION),
            id="an order from tomorrow",
        ),
        pytest.param(
            [Span(MOTHER, A.INFORMATION, BEFORE)],
            [Span(FATHER, A.INFORMATION, BEFORE)],
            of(MOTHER, A.INFORMATION),
            id="an order on another",
        ),
        pytest.param([], [Span(FATHER, A.INFORMATION, BEFORE)], {}, id="an order alone puts nobody beside the child"),
    ],
)
def test_who_may_what_on_a_day(granted, taken, expected):
    """Each right holds from its first day to its last, and not while a court's order on it holds."""
    assert standings(DAY, granted=granted, taken=taken) == expected


CARE, SCHOOL, KNOWS = A.CONSENT_TO_CARE, A.EDUCATIONAL_DECISIONS, A.INFORMATION


@pytest.mark.parametrize(
    ("beside", "day", "expected"),
    [
        pytest.param({}, DAY, [Observation.NOBODY_CONSENTS_TO_CARE], id="nobody"),
        pytest.param(of(MOTHER, CARE, KNOWS), DAY, [], id="one who decides and knows"),
        pytest.param(
            of(MOTHER, CARE), DAY, [Observation.DECIDES_WITHOUT_INFORMATION], id="who decides and may not know"
        ),
        pytest.param(
            of(MOTHER, CARE, KNOWS) | of(FATHER, CARE, KNOWS),
            DAY,
            [Observation.SEVERAL_CONSENT_TO_CARE],
            id="two on care",
        ),
        pytest.param(
            of(MOTHER, CARE, SCHOOL, KNOWS) | of(FATHER, SCHOOL, KNOWS),
            DAY,
            [Observation.SEVERAL_DECIDE_ON_EDUCATION],
            id="two on schooling",
        ),
        pytest.param(
            of(MOTHER, taken=[CARE]) | of(FATHER, SCHOOL, KNOWS),
            DAY,
            [Observation.NOBODY_CONSENTS_TO_CARE],
            id="taken by a court is not held",
        ),
        pytest.param(of(MOTHER, CARE, KNOWS), date(2039, 5, 16), [], id="the day before eighteen"),
        pytest.param(
            of(MOTHER, CARE, KNOWS), date(2039, 5, 17), [Observation.CLIENT_IS_EIGHTEEN], id="eighteen (34 CFR 99.5(a))"
        ),
    ],
)
def test_what_to_look_at(beside, day, expected):
    """The observations are facts to look at, in a fixed order."""
    assert observations(beside, birth_date=BORN, day=day) == expected
