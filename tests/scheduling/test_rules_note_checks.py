"""What a note is flagged for, from plain values."""

from datetime import UTC, date, datetime, timedelta
from uuid import UUID

import pytest

from clinic.enums import FlagSeverity
from scheduling.rules import note_checks as rules
from scheduling.rules.note_checks import Attended, Heeded, Planned

FIRST, SECOND, PRECAUTION = (UUID(int=number) for number in (1, 2, 3))
GOALS = [Planned(goal=FIRST, number=1), Planned(goal=SECOND, number=4)]
ARRIVED = datetime(2026, 3, 3, 15, 0, tzinfo=UTC)
WARNING, NOTICE = FlagSeverity.WARNING, FlagSeverity.NOTICE


def told(flags) -> list[tuple]:
    return [(flag.check, flag.severity, flag.sentence) for flag in flags]


@pytest.mark.parametrize(
    ("measured", "numbers"),
    [
        pytest.param([], [1, 4], id="none"),
        pytest.param([{"goal": str(FIRST), "successes": 7, "opportunities": 10}], [4], id="one"),
        pytest.param([{"goal": str(SECOND), "not_measured": "ill"}], [1], id="a-reason-is-enough"),
        pytest.param([{"goal": str(FIRST)}, {"goal": str(SECOND)}], [], id="both"),
    ],
)
def test_planned_and_not_measured(measured, numbers):
    """Each planned goal that the note says nothing of, by its number."""
    found = rules.unmeasured_goals(GOALS, measured)
    assert [flag.facts["number"] for flag in found] == numbers
    assert [flag.subject for flag in found] == [flag.facts["goal"] for flag in found]
    assert {flag.severity for flag in found} <= {WARNING}


@pytest.mark.parametrize(
    ("minutes", "elapsed", "visit", "severity"),
    [
        pytest.param(45, 45, 45, None, id="the-same"),
        pytest.param(46, 45, 45, WARNING, id="one-more-than-passed"),
        pytest.param(40, 45, 45, None, id="within-the-leeway"),
        pytest.param(39, 45, 45, NOTICE, id="six-less"),
        pytest.param(30, 45, 30, None, id="as-the-end-of-the-visit-says"),
        pytest.param(None, 45, 45, None, id="none-told"),
        pytest.param(90, None, 45, None, id="no-check-in"),
    ],
)
def test_minutes(minutes, elapsed, visit, severity):
    """More minutes than passed cannot be; many fewer are worth a look."""
    left = None if elapsed is None else ARRIVED + timedelta(minutes=elapsed, seconds=59)
    attended = Attended(arrived_at=None if elapsed is None else ARRIVED, left_at=left, minutes=visit)
    found = rules.minutes_disagreeing(minutes, attended, [])
    assert [flag.severity for flag in found] == ([severity] if severity else [])


def test_minutes_of_activities():
    """Activities that take longer than the whole."""
    attended = Attended(arrived_at=None, left_at=None, minutes=None)
    within = [{"name": "Vest", "minutes": 15}, {"name": "Rest"}, {"name": "Swing", "minutes": 30}]
    assert rules.minutes_disagreeing(45, attended, within) == []
    assert told(rules.minutes_disagreeing(44, attended, within)) == [
        ("minutes_disagree", WARNING, "the activities take 45 minutes, and the note says 44 in all")
    ]


@pytest.mark.parametrize(
    ("raw", "missing"),
    [
        pytest.param({"successes": 7, "opportunities": 10}, True, id="plain-counts"),
        pytest.param({"value": 60}, True, id="one-value"),
        pytest.param({"trials": [{"success": True, "assistance": "minimal"}]}, False, id="each-trial"),
        pytest.param({"trials": [{"success": True, "assistance": "minimal"}, {"success": True}]}, True, id="but-one"),
        pytest.param({"tally": {"minimal": 6, "total": 1}}, False, id="a-tally-by-level"),
        pytest.param({"tally": {"success": 6, "minimal": 1}}, True, id="a-tally-of-successes"),
        pytest.param({"not_measured": "refused"}, False, id="not-measured"),
    ],
)
def test_level_of_assistance(raw, missing):
    """Asked for by the goal's criterion and left out in a trial; of another goal nothing is asked."""
    asks, another = GOALS
    found = rules.assistance_missing([asks], [{"goal": str(asks.goal), **raw}])
    assert told(found) == (
        [("assistance_missing", WARNING, "goal 1 asks for a level of assistance, and trials are without one")]
        if missing
        else []
    )
    assert rules.assistance_missing([asks], [{"goal": str(another.goal), **raw}]) == []


def heeded(**over) -> Heeded:
    given = {"refused": ["neck_load", "inversion"], "warned": ["swinging"], "recorded_after": False, **over}
    return Heeded(id=PRECAUTION, **given)


@pytest.mark.parametrize(
    ("activity", "severity", "words"),
    [
        pytest.param(
            {"name": "Rolls", "properties": ["inversion"]}, WARNING, "crosses a precaution: inversion", id="t"
        ),
        pytest.param({"name": "Neck load, slow"}, WARNING, "crosses a precaution: neck load", id="by-its-words"),
        pytest.param({"name": "Swinging in a net"}, NOTICE, "is to be done only with care: swinging", id="warned"),
        pytest.param(
            {"name": "Swinging", "properties": ["inversion", "neck_load"]},
            WARNING,
            "crosses a precaution: inversion, neck load",
            id="the-graver-one-is-told",
        ),
        pytest.param({"name": "Load of blocks"}, None, "", id="half-a-word-is-none"),
        pytest.param({"name": "Vest", "properties": ["sitting"]}, None, "", id="another-property"),
    ],
)
def test_precautions(activity, severity, words):
    """Told by its properties, or named by all words of one."""
    found = rules.precautions_crossed([{"name": "Rest"}, activity], [heeded()])
    expected = [("precaution_crossed", severity, f"\u201c{activity['name']}\u201d {words}")] if severity else []
    assert told(found) == expected


def test_a_precaution_recorded_later_is_said_so():
    """The author could not know of it; two activities are two flags of one precaution."""
    twice = [{"name": "Inversion"}, {"name": "Inversion again"}]
    found = rules.precautions_crossed(twice, [heeded(recorded_after=True)])
    assert [flag.sentence.endswith("inversion (recorded after the visit)") for flag in found] == [True, True]
    assert len({flag.subject for flag in found}) == 2


def test_late_entry():
    """As S2 has it: told with the days after the visit and past the limit; nothing where it is in time."""
    visit, limit = date(2026, 3, 10), date(2026, 3, 12)
    (late,) = rules.late_entry(service_date=visit, signed_on=date(2026, 4, 2), limit=limit)
    assert late.sentence == "late entry, 23 days after the visit, 21 past the limit (12 Mar)"
    assert late.facts == {"limit": "2026-03-12", "days_after_visit": 23, "days_past_limit": 21}
    assert rules.late_entry(service_date=visit, signed_on=limit, limit=limit) == []


def test_what_the_day_and_the_visit_say():
    """Each in one sentence."""
    found = [
        rules.no_supervision(date(2026, 3, 16)),
        rules.evaluation_by_assistant("re_evaluation"),
        rules.group_of_one(),
    ]
    assert told(found) == [
        ("no_supervision_on_day", WARNING, "nobody supervised the author on 16 Mar"),
        ("evaluation_by_assistant", WARNING, "an assistant documents a re-evaluation, which is a therapist's"),
        ("group_of_one", WARNING, "only one child came to this group: record it as individual"),
    ]
