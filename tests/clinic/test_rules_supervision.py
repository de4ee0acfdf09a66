"""Who supervised on a day, who may co-sign it, and on whose list it waits."""

from datetime import date
from uuid import UUID

import pytest

from clinic.enums import ScopeKind, SupervisionKind
from clinic.rules.supervision import (
    Assignment,
    Basis,
    Eligible,
    Succession,
    eligible_cosigners,
    owner_on,
    successors_of,
    supervisors_on,
    unsupervised_days,
)

RUTH, SOL, TIA, UMA = (UUID(int=number) for number in range(1, 5))
FIRST = date(2026, 1, 1)
TODAY = date(2026, 4, 2)


def primary(supervisor, scope="episode", starts_on=FIRST, ends_on=None):
    """A primary assignment that states only what matters."""
    return Assignment(supervisor, ScopeKind(scope), SupervisionKind.PRIMARY, starts_on, ends_on)


def covering(supervisor, scope="organization", starts_on=FIRST, ends_on=None):
    """A covering assignment that states only what matters."""
    return Assignment(supervisor, ScopeKind(scope), SupervisionKind.COVERING, starts_on, ends_on)


RUTH_THEN_SOL = [primary(RUTH, ends_on=date(2026, 3, 15)), primary(SOL, starts_on=date(2026, 3, 16))]


@pytest.mark.parametrize(
    ("assignments", "found"),
    [
        pytest.param([], [], id="nobody"),
        pytest.param([primary(RUTH)], [(RUTH, Basis.PRIMARY)], id="one"),
        pytest.param(
            [primary(RUTH, "organization"), primary(SOL, "site"), primary(TIA, "episode")],
            [(TIA, Basis.PRIMARY)],
            id="episode-before-site-before-organization",
        ),
        pytest.param(
            [primary(RUTH, "organization"), primary(SOL, "site")],
            [(SOL, Basis.PRIMARY)],
            id="site-before-organization",
        ),
        pytest.param(
            [primary(RUTH, "organization"), primary(SOL, "episode", ends_on=date(2026, 3, 1))],
            [(RUTH, Basis.PRIMARY)],
            id="narrow-one-is-over",
        ),
        pytest.param(
            [primary(RUTH), covering(SOL)],
            [(RUTH, Basis.PRIMARY), (SOL, Basis.COVERING)],
            id="covering-beside-the-primary",
        ),
        pytest.param([covering(SOL)], [(SOL, Basis.COVERING)], id="covering-alone"),
        pytest.param(
            [covering(SOL, "organization"), covering(TIA, "episode"), primary(RUTH, "site")],
            [(RUTH, Basis.PRIMARY), (TIA, Basis.COVERING), (SOL, Basis.COVERING)],
            id="nearest-covering-first",
        ),
        pytest.param([primary(RUTH), covering(RUTH)], [(RUTH, Basis.PRIMARY)], id="both-in-one-person"),
    ],
)
def test_supervisors_on(assignments, found):
    """The primary of the narrowest scope in force supervises, and whoever covers, each once."""
    expected = [Eligible(staff_id, basis) for staff_id, basis in found]
    assert supervisors_on(date(2026, 3, 10), assignments) == expected
    assert supervisors_on(date(2026, 3, 10), assignments[::-1]) == expected


@pytest.mark.parametrize(
    ("day", "supervisor"),
    [
        pytest.param(date(2026, 3, 15), RUTH, id="last-day"),
        pytest.param(date(2026, 3, 16), SOL, id="first-day"),
    ],
)
def test_the_days_of_an_assignment_are_inclusive(day, supervisor):
    """Ruth answers for Sunday the 15th, Sol for Monday the 16th."""
    assert [eligible.staff_id for eligible in supervisors_on(day, RUTH_THEN_SOL)] == [supervisor]


def test_a_supervisor_whose_assignment_is_over_cosigns_her_days():
    """On 18 March Ruth may co-sign 12 and 13 March, Sol may not; the 16th is Sol's alone."""
    today = date(2026, 3, 18)
    for day in (date(2026, 3, 12), date(2026, 3, 13)):
        assert eligible_cosigners(day, RUTH_THEN_SOL, today=today) == [Eligible(RUTH, Basis.PRIMARY)]
        assert owner_on(day, RUTH_THEN_SOL, today=today) == RUTH
    assert eligible_cosigners(date(2026, 3, 16), RUTH_THEN_SOL, today=today) == [Eligible(SOL, Basis.PRIMARY)]
    assert owner_on(date(2026, 3, 16), RUTH_THEN_SOL, today=today) == SOL


def test_the_days_of_one_who_left_wait_for_the_administrator_until_a_succession():
    """Ruth has left: nobody may co-sign 10 March, then Sol may, in succession to Ruth."""
    day, left = date(2026, 3, 10), {RUTH}
    assert eligible_cosigners(day, RUTH_THEN_SOL, today=TODAY, left=left) == []
    assert owner_on(day, RUTH_THEN_SOL, today=TODAY, left=left) is None

    acts = [Succession(RUTH, SOL, TODAY)]
    assert eligible_cosigners(day, RUTH_THEN_SOL, today=TODAY, successions=acts, left=left) == [
        Eligible(SOL, Basis.SUCCESSION, in_succession_to=RUTH)
    ]
    assert owner_on(day, RUTH_THEN_SOL, today=TODAY, successions=acts, left=left) == SOL


def test_a_succession_does_not_act_before_its_day():
    """An act that begins tomorrow makes nobody eligible today."""
    acts = [Succession(RUTH, SOL, date(2026, 4, 3))]
    assert eligible_cosigners(date(2026, 3, 10), [primary(RUTH)], today=TODAY, successions=acts, left={RUTH}) == []


def test_a_successor_of_somebody_else_is_not_eligible():
    """A handover of Uma's days gives nobody Ruth's."""
    acts = [Succession(UMA, SOL, FIRST)]
    assert eligible_cosigners(date(2026, 3, 10), [primary(RUTH)], today=TODAY, successions=acts, left={RUTH}) == []


def test_a_handover_goes_on_when_the_successor_leaves_too():
    """Ruth's days went to Sol, Sol's to Tia: Tia co-signs them in succession to Ruth, who supervised."""
    acts = [Succession(RUTH, SOL, FIRST), Succession(SOL, TIA, FIRST)]
    assert eligible_cosigners(date(2026, 3, 10), [primary(RUTH)], today=TODAY, successions=acts, left={RUTH, SOL}) == [
        Eligible(TIA, Basis.SUCCESSION, in_succession_to=RUTH)
    ]


def test_handovers_in_a_circle_end():
    """Two who handed over to each other are each the other's successor, and the search ends."""
    acts = [Succession(RUTH, SOL, FIRST), Succession(SOL, RUTH, FIRST)]
    assert successors_of(RUTH, successions=acts, today=TODAY) == [SOL]
    assert successors_of(SOL, successions=acts, today=TODAY) == [RUTH]


def test_one_who_supervised_herself_signs_on_her_own_account():
    """A covering supervisor who is also the successor co-signs as covering, not in succession."""
    found = eligible_cosigners(
        date(2026, 3, 10),
        [primary(RUTH), covering(SOL)],
        today=TODAY,
        successions=[Succession(RUTH, SOL, FIRST)],
        left={RUTH},
    )
    assert found == [Eligible(SOL, Basis.COVERING)]


@pytest.mark.parametrize(
    ("left", "acts", "owner"),
    [
        pytest.param(set(), [], RUTH, id="primary"),
        pytest.param(set(), [Succession(RUTH, TIA, FIRST)], RUTH, id="primary-still-here"),
        pytest.param({RUTH}, [], SOL, id="covering-when-the-primary-left"),
        pytest.param({RUTH}, [Succession(RUTH, TIA, FIRST)], TIA, id="successor-before-covering"),
        pytest.param({RUTH, SOL}, [], None, id="nobody-left"),
        pytest.param({RUTH, SOL}, [Succession(SOL, UMA, FIRST)], UMA, id="successor-of-the-covering"),
    ],
)
def test_owner_on(left, acts, owner):
    """Work waits on the primary, else on her successor, else on who covered, else on the administrator."""
    assignments = [primary(RUTH), covering(SOL)]
    day = date(2026, 3, 10)
    assert owner_on(day, iter(assignments), today=TODAY, successions=acts, left=left) == owner


def test_days_without_a_supervisor():
    """When Sol starts on the 18th, the 16th and 17th had nobody; covering counts as somebody."""
    assignments = [primary(RUTH, ends_on=date(2026, 3, 15)), primary(SOL, starts_on=date(2026, 3, 18))]
    first, last = date(2026, 3, 12), date(2026, 3, 20)
    assert unsupervised_days(first, last, assignments) == [date(2026, 3, 16), date(2026, 3, 17)]
    assert supervisors_on(date(2026, 3, 16), assignments) == []

    covered = [*assignments, covering(TIA, starts_on=date(2026, 3, 17), ends_on=date(2026, 3, 17))]
    assert unsupervised_days(first, last, covered) == [date(2026, 3, 16)]


def test_no_days_are_asked_for():
    """A span that ends before it begins holds no day."""
    assert unsupervised_days(date(2026, 3, 2), date(2026, 3, 1), []) == []
