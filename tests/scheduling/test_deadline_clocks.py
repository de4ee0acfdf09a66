"""Clocks from facts: worked cases in days, and properties that hold for any facts."""

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.deadlines.calendar import after, months_after
from scheduling.deadlines.clocks import clocks
from scheduling.deadlines.errors import BadFacts, BadRule
from scheduling.deadlines.facts import CODES, Facts
from scheduling.deadlines.rules import Interval, Rule, Starts, Unit
from scheduling.deadlines.states import State, expected, outcomes, state_on
from scheduling.enums import FactKind

TREATED, REPORTED, LEFT = FactKind.TREATMENT_DAY, FactKind.PROGRESS_REPORTED, FactKind.SERVICE_ENDED
STARTED, CERTIFIED, CONTACT = FactKind.PLAN_TREATED, FactKind.CERTIFIED, FactKind.EVALUATED
PROGRESS = Rule(
    code="progress_report",
    starts=frozenset({TREATED}),
    starting=Starts.PERIODS,
    intervals=(Interval(number=10, unit=Unit.COUNT),),
    counts=frozenset({TREATED}),
    closes=frozenset({REPORTED}),
    allowance_days=7,
)
CERTIFICATION = Rule(
    code="certification",
    starts=frozenset({STARTED}),
    starting=Starts.FIRST,
    intervals=(Interval(number=90, unit=Unit.DAYS),),
    closes=frozenset({CERTIFIED}),
    ends=frozenset({LEFT}),
)
MONTHLY = Rule(
    code="contact",
    starts=frozenset({CONTACT}),
    starting=Starts.EACH,
    intervals=(Interval(number=30, unit=Unit.DAYS),),
    closes=frozenset({CONTACT}),
)


def facts(*rows, **columns):
    """Rows of (subject, kind, day) or (subject, kind, day, last day spoken for)."""
    full = [(row[0], CODES[row[1]], row[2], row[-1]) for row in rows]
    return Facts.of(*zip(*[row[:3] for row in full], strict=True), covers=[row[3] for row in full], **columns)


def treated(*days, subject=0):
    return [(subject, TREATED, day) for day in days]


def states(found, today):
    return np.array(
        [
            state_on(outcome, due, today=today.astype(object))
            for outcome, due in zip(outcomes(found).tolist(), found.due.tolist(), strict=True)
        ]
    )


def day(text):
    return np.datetime64(text, "D")


# SCENARIOS.md S1 without the visits that were not treatment (9, 16 and 22 January).
S1 = ["2026-01-05", "2026-01-07", "2026-01-12", "2026-01-14", "2026-01-14", "2026-01-19", "2026-01-21", "2026-01-23"]
S1_ALL = [*S1, "2026-01-26", "2026-01-28", "2026-01-30"]


def test_two_visits_of_one_day_are_one_day_of_treatment():
    """S1: after 28 January nine of ten; nothing is due yet."""
    found = clocks(PROGRESS, facts(*treated(*S1, "2026-01-26", "2026-01-28")))
    assert (found.counted.tolist(), found.target.tolist()) == ([9], [10])
    assert np.isnat(found.due).all()
    assert states(found, day("2026-01-28")).tolist() == [State.UPCOMING]


def test_the_tenth_day_of_treatment_is_the_last_timely_one():
    found = clocks(PROGRESS, facts(*treated(*S1_ALL)))
    assert found.due.tolist() == [date(2026, 1, 30)]
    assert states(found, day("2026-01-30")).tolist() == [State.DUE]
    assert states(found, day("2026-01-31")).tolist() == [State.OVERDUE]


def mondays_wednesdays_fridays(first, last):
    days = (date.fromisoformat(first) + timedelta(days=n) for n in range(400))
    return [str(one) for one in days if one.weekday() in (0, 2, 4) and str(one) <= last]


def test_the_next_period_begins_with_the_next_treatment_whenever_the_report_is_signed():
    """S1: signed on 6 February for 5 to 30 January: seven days late; period 2 has three days that evening."""
    rows = treated(*S1_ALL, *mondays_wednesdays_fridays("2026-02-02", "2026-02-06"))
    found = clocks(PROGRESS, facts(*rows, (0, REPORTED, "2026-02-06", "2026-01-30")))
    assert found.starts.tolist() == [date(2026, 1, 5), date(2026, 2, 2)]
    assert found.counted.tolist() == [10, 3]
    assert states(found, day("2026-02-06")).tolist() == [State.MET_LATE, State.UPCOMING]
    assert (found.closed - found.due)[0] == np.timedelta64(7, "D")


def test_a_period_runs_to_its_own_tenth_day():
    """S1: 23 February; a restart at the signature would say 2 March."""
    rows = treated(*S1_ALL, *mondays_wednesdays_fridays("2026-02-02", "2026-03-31"))
    found = clocks(PROGRESS, facts(*rows, (0, REPORTED, "2026-02-06", "2026-01-30")))
    assert found.due.tolist()[:2] == [date(2026, 1, 30), date(2026, 2, 23)]


def test_a_report_may_end_its_period_early():
    """S1: signed on 13 February for 2 to 13 February; period 3 starts on the 16th and has its tenth day on 9 March."""
    rows = treated(*S1_ALL, *mondays_wednesdays_fridays("2026-02-02", "2026-03-09"))
    found = clocks(
        PROGRESS,
        facts(*rows, (0, REPORTED, "2026-02-06", "2026-01-30"), (0, REPORTED, "2026-02-13", "2026-02-13")),
    )
    assert found.starts.tolist() == [date(2026, 1, 5), date(2026, 2, 2), date(2026, 2, 16)]
    assert found.counted.tolist() == [10, 6, 10]
    assert found.due.tolist()[2] == date(2026, 3, 9)
    assert states(found, day("2026-03-09")).tolist() == [State.MET_LATE, State.MET, State.DUE]


def test_a_report_that_speaks_for_days_after_the_tenth_but_before_the_next_answers_that_period():
    rows = treated(*S1_ALL, "2026-02-02")
    found = clocks(PROGRESS, facts(*rows, (0, REPORTED, "2026-02-02", "2026-02-01")))
    assert found.closed.tolist() == [date(2026, 2, 2), None]


def test_an_unanswered_period_stays_open_beside_the_next():
    found = clocks(PROGRESS, facts(*treated(*S1_ALL, "2026-02-02")))
    assert states(found, day("2026-02-02")).tolist() == [State.OVERDUE, State.UPCOMING]


def test_the_day_expected_follows_from_what_is_booked():
    found = clocks(PROGRESS, facts(*treated(*S1)))
    booked = facts(*treated("2026-01-23", "2026-01-26", "2026-01-28", "2026-01-28", "2026-01-30", "2026-02-02"))
    assert expected(found, booked, day("2026-01-24")).tolist() == [date(2026, 1, 30)]
    assert np.isnat(expected(found, facts(*treated("2026-01-26")), day("2026-01-24"))).all()


@pytest.mark.parametrize(
    ("first", "due"),
    [
        pytest.param("2027-12-01", "2028-02-29", id="S5: a leap day"),
        pytest.param("2026-01-05", "2026-04-05", id="common"),
    ],
)
def test_ninety_days_are_the_date_plus_ninety(first, due):
    found = clocks(CERTIFICATION, facts((0, STARTED, first)))
    assert found.due.tolist() == [date.fromisoformat(due)]


def test_a_day_that_was_set_is_due_itself():
    """A school's report-card day: the fact speaks for it."""
    rule = Rule(
        code="report_card",
        starts=frozenset({FactKind.REPORT_DAY_SET}),
        starting=Starts.EACH,
        intervals=(Interval(number=0, unit=Unit.COVERED),),
        closes=frozenset({REPORTED}),
    )
    rows = [
        (0, FactKind.REPORT_DAY_SET, "2026-09-01", "2026-11-13"),
        (0, FactKind.REPORT_DAY_SET, "2026-11-14", "2027-02-05"),
    ]
    found = clocks(rule, facts(*rows))
    assert found.due.tolist() == [date(2026, 11, 13), date(2027, 2, 5)]
    late = clocks(rule, facts(*rows, (0, REPORTED, "2026-11-20", "2026-11-13")))
    assert states(late, day("2026-11-20")).tolist() == [State.MET_LATE, State.UPCOMING]


def test_what_leaves_ends_a_clock_without_an_answer():
    found = clocks(
        CERTIFICATION, facts((0, STARTED, "2026-01-05"), (0, LEFT, "2026-02-01"), (0, CERTIFIED, "2026-03-01"))
    )
    assert states(found, day("2026-05-01")).tolist() == [State.SUPERSEDED]
    assert found.closed_by.tolist() == [-1]


def test_an_answer_on_the_last_day_is_in_time_and_one_day_later_late():
    rows = [
        (0, STARTED, "2026-01-05"),
        (0, CERTIFIED, "2026-04-05"),
        (1, STARTED, "2026-01-05"),
        (1, CERTIFIED, "2026-04-06"),
    ]
    assert states(clocks(CERTIFICATION, facts(*rows)), day("2026-05-01")).tolist() == [State.MET, State.MET_LATE]


def test_one_contact_answers_the_clock_of_the_one_before_and_starts_its_own():
    rows = [(0, CONTACT, "2026-01-05"), (0, CONTACT, "2026-02-10"), (0, CONTACT, "2026-02-20")]
    found = clocks(MONTHLY, facts(*rows))
    assert found.closed.tolist() == [date(2026, 2, 10), date(2026, 2, 20), None]
    assert states(found, day("2026-03-22")).tolist() == [State.MET_LATE, State.MET, State.DUE]


@pytest.mark.parametrize(
    ("start", "months", "expected_day"),
    [
        # 34 CFR 303.342(b), six months from the last day of August; FACTS.md section 4.
        pytest.param("2025-08-31", 6, "2026-02-28", id="clamped"),
        pytest.param("2024-02-29", 12, "2025-02-28", id="anniversary of a leap day"),
        pytest.param("2028-02-29", 12, "2029-02-28", id="S5"),
        pytest.param("2024-09-10", 12, "2025-09-10", id="34 CFR 300.324(b)(1)(i)"),
        pytest.param("2022-02-28", 36, "2025-02-28", id="34 CFR 300.303(b)(2)"),
    ],
)
def test_months_clamp_to_the_last_day(start, months, expected_day):
    assert months_after(np.array([start], dtype="datetime64[D]"), months).tolist() == [date.fromisoformat(expected_day)]


@given(
    st.dates(date(1990, 1, 1), date(2090, 1, 1)),
    st.integers(0, 10),
    st.sets(st.dates(date(2026, 1, 1), date(2026, 3, 1)), max_size=5),
)
def test_business_days_are_those_of_a_walk_day_by_day(start, number, holidays):
    """Against a loop that looks at each day."""
    walked = start
    for _ in range(number):
        walked += timedelta(days=1)
        while walked.weekday() >= 5 or walked in holidays:
            walked += timedelta(days=1)
    found = after(
        np.array([start], dtype="datetime64[D]"), Interval(number=number, unit=Unit.BUSINESS_DAYS), holidays=holidays
    )
    assert found.tolist() == [walked]


DAY = st.dates(date(2026, 1, 1), date(2026, 4, 30))


def periods_by_hand(days, reports):
    """One subject's periods, walked day by day; reports are (last day spoken for, order)."""
    found, left = [], sorted(set(days))
    while left:
        start = left[0]
        full = left[9] if len(left) >= 10 else None
        beyond = left[10] if len(left) > 10 else None
        spoken = sorted(r for r in reports if r >= start and (beyond is None or r < beyond))
        ends = [one for one in (spoken[:1] or [None])[:1] + [full] if one is not None]
        over = min(ends) if ends else None
        inside = [one for one in left if over is None or one <= over]
        found.append((start, len(inside), over, bool(spoken)))
        left = [one for one in left if over is not None and one > over]
    return found


@given(st.lists(st.tuples(st.lists(DAY, max_size=40), st.lists(DAY, max_size=6)), min_size=1, max_size=4))
def test_many_children_at_once_are_each_as_if_alone(children):
    rows = [(n, TREATED, str(one)) for n, (days, _) in enumerate(children) for one in days]
    rows += [(n, REPORTED, str(one)) for n, (_, reports) in enumerate(children) for one in reports]
    if not rows:
        return
    found = clocks(PROGRESS, facts(*rows))
    got = [
        (n, start, counted, due, closed is not None)
        for n, start, counted, due, closed in zip(
            found.subject.tolist(),
            found.starts.tolist(),
            found.counted.tolist(),
            found.due.tolist(),
            found.closed.tolist(),
            strict=True,
        )
    ]
    wanted = [(n, *period) for n, (days, reports) in enumerate(children) for period in periods_by_hand(days, reports)]
    assert got == wanted


@given(st.permutations(treated(*S1_ALL, "2026-02-02", "2026-02-04") + [(0, REPORTED, "2026-02-06", "2026-01-30")]))
def test_the_order_of_recording_changes_nothing(rows):
    found = clocks(PROGRESS, facts(*rows))
    assert found.counted.tolist() == [10, 2]
    assert found.closed.tolist() == [date(2026, 2, 6), None]


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        pytest.param({"intervals": ()}, "it has no interval", id="none"),
        pytest.param({"closes": frozenset()}, "no fact closes it", id="open for ever"),
        pytest.param({"starts": frozenset()}, "no fact starts its clock", id="never"),
        pytest.param({"intervals": (Interval(number=0, unit=Unit.COUNT),)}, "it counts to zero", id="zero"),
        pytest.param({"intervals": (Interval(number=-1, unit=Unit.DAYS),)}, "an interval is negative", id="backward"),
        pytest.param({"counts": frozenset()}, "it counts, but no fact is named", id="nothing"),
    ],
)
def test_a_rule_that_no_clock_can_follow_is_refused(change, reason):
    fields = {name: getattr(PROGRESS, name) for name in PROGRESS.__slots__}
    with pytest.raises(BadRule, match=reason):
        Rule(**{**fields, **change})


def test_columns_that_do_not_fit_are_refused():
    with pytest.raises(BadFacts):
        Facts.of([0, 1], [0], ["2026-01-05", "2026-01-06"])
    with pytest.raises(BadFacts):
        Facts.of([0], [0], ["NaT"])


def test_no_facts_no_clocks():
    for rule in (PROGRESS, CERTIFICATION, MONTHLY):
        assert clocks(rule, Facts.of([], [], [])).size == 0
