"""An episode's steps, and the law under which its record is kept."""

from datetime import date

import pytest

from clinic.enums import EpisodeStatus, RecordRegime, Setting
from clinic.rules.episodes import (
    DayRefusal,
    EpisodeAct,
    Step,
    allowed_acts,
    day_refusal,
    record_regime_of,
    status_after,
    status_on,
)

S, A = EpisodeStatus, EpisodeAct
LEGAL = {
    (S.PLANNED, A.OPEN): S.ACTIVE,
    (S.PLANNED, A.CANCEL): S.CANCELLED,
    (S.ACTIVE, A.HOLD): S.ON_HOLD,
    (S.ACTIVE, A.DISCHARGE): S.FINISHED,
    (S.ON_HOLD, A.RESUME): S.ACTIVE,
    (S.ON_HOLD, A.DISCHARGE): S.FINISHED,
}
TODAY = date(2026, 3, 10)


@pytest.mark.parametrize("act", A)
@pytest.mark.parametrize("status", S)
def test_each_status_allows_its_own_acts(status, act):
    """Six of the twenty-five pairs are steps; what has ended stays ended."""
    assert status_after(status, act) == LEGAL.get((status, act))
    assert (act in allowed_acts(status)) == ((status, act) in LEGAL)


@pytest.mark.parametrize(
    ("on", "last", "refusal"),
    [
        pytest.param(TODAY, None, None, id="today, first"),
        pytest.param(TODAY, TODAY, None, id="twice on one day"),
        pytest.param(date(2026, 3, 11), None, DayRefusal.IN_THE_FUTURE, id="tomorrow"),
        pytest.param(date(2026, 3, 1), date(2026, 3, 2), DayRefusal.BEFORE_LAST_CHANGE, id="before the last"),
    ],
)
def test_a_step_takes_effect_when_it_can_be_true(on, last, refusal):
    """Not ahead of time, not before the step that it follows."""
    assert day_refusal(on, today=TODAY, last_change_on=last) == refusal


@pytest.mark.parametrize(
    ("day", "status"),
    [
        pytest.param(date(2026, 1, 1), None, id="before anything"),
        pytest.param(date(2026, 1, 5), S.ACTIVE, id="opened, although planned later on paper"),
        pytest.param(date(2026, 2, 1), S.ON_HOLD, id="the day of the hold"),
        pytest.param(date(2026, 2, 20), S.ACTIVE, id="resumed"),
    ],
)
def test_the_status_of_a_past_day(day, status):
    """The latest recorded step that had taken effect by then."""
    steps = [
        Step(S.PLANNED, date(2026, 1, 20)),
        Step(S.ACTIVE, date(2026, 1, 5)),
        Step(S.ON_HOLD, date(2026, 2, 1)),
        Step(S.ACTIVE, date(2026, 2, 15)),
    ]
    assert status_on(day, steps) == status


@pytest.mark.parametrize("setting", Setting)
def test_a_school_keeps_an_education_record(setting):
    """Everywhere else it is a health record."""
    expected = RecordRegime.EDUCATION if setting == Setting.SCHOOL else RecordRegime.HEALTH
    assert record_regime_of(setting) == expected
