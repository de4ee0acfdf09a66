"""Every worked goal comes out as it was computed by hand, and other numbers of the same kinds too."""

from datetime import date
from decimal import Decimal

import pytest

from goals.enums import Achievement, Bound, CriterionState, MissingCode
from goals.progress.results import Findings
from tests.goals import scenario_goals as worked
from tests.goals.cases import Case, make_criterion, make_goal

MET, NOT_MET, FEW = CriterionState.MET, CriterionState.NOT_MET, CriterionState.NOT_ENOUGH_DATA


@pytest.mark.parametrize(
    ("case", "state", "satisfied", "window", "sentence"),
    [
        pytest.param(
            worked.buttons(), NOT_MET, 2, 4, "2 of the last 4 visits meet all parts; 3 are needed.", id="1-buttons"
        ),
        pytest.param(
            worked.letters(),
            MET,
            3,
            3,
            "3 of the last 3 visits meet what is asked; 3 in a row are needed, in 2 settings of 2 needed.",
            id="2-letters",
        ),
        pytest.param(
            worked.circle(), NOT_MET, 1, 3, "1 of the last 3 visits meets what is asked; 2 are needed.", id="3-circle"
        ),
        pytest.param(
            worked.shirt(), NOT_MET, 2, 4, "2 of the last 4 visits meet what is asked; 3 are needed.", id="4-shirt"
        ),
        pytest.param(
            worked.teeth(), NOT_MET, 2, 5, "2 of the last 5 visits meet what is asked; 4 are needed.", id="5-teeth"
        ),
        pytest.param(
            worked.foods(), NOT_MET, 2, 4, "2 of the last 4 visits meet what is asked; 3 are needed.", id="6-foods"
        ),
        pytest.param(
            worked.turns(), NOT_MET, 2, 4, "2 of the last 4 visits meet what is asked; 3 are needed.", id="8-turns"
        ),
        pytest.param(
            worked.floor_play(),
            MET,
            2,
            2,
            "2 of the last 2 visits meet what is asked; 2 in a row are needed.",
            id="9-floor-play",
        ),
        pytest.param(
            worked.hair_washing(),
            MET,
            2,
            2,
            "2 of the last 2 visits meet what is asked; 2 in a row are needed.",
            id="11-hair-washing",
        ),
        pytest.param(worked.balance(), MET, 1, 1, "The last visit meets what is asked.", id="13-balance"),
        pytest.param(
            worked.carpet_time(),
            NOT_MET,
            3,
            5,
            "3 of the last 5 visits meet what is asked; 4 are needed.",
            id="14-carpet-time",
        ),
        pytest.param(
            worked.seat(), NOT_MET, 2, 4, "2 of the last 4 visits meet what is asked; 3 are needed.", id="17-seat"
        ),
        pytest.param(
            worked.party(), MET, 2, 3, "2 of the last 3 visits meet what is asked; 2 are needed.", id="18-party"
        ),
    ],
)
def test_criterion_after_five_visits(case: Case, state, satisfied, window, sentence):
    """The criterion stands as the table says, and says in one sentence on which visits."""
    found = case.findings().criterion
    assert (found.state, found.satisfied, found.window) == (state, satisfied, window)
    assert found.sentence == sentence
    assert found.first_met_on == (date(2026, 3, 31) if state == MET else None)


@pytest.mark.parametrize(
    ("case", "level", "percent", "slope"),
    [
        pytest.param(worked.letters(), "0.875", "106.4", "0.0706", id="2-letters"),
        pytest.param(worked.circle(), "8", "83.3", "-2.4167", id="3-circle"),
        pytest.param(worked.turns(), "4", "100.0", "1", id="8-turns"),
        pytest.param(worked.floor_play(), "600", "100.0", "120", id="9-floor-play"),
        pytest.param(worked.carpet_time(), "0.8333", "108.3", "0.0875", id="14-carpet-time"),
        pytest.param(worked.seat(), "2", "100.0", "-2.4375", id="17-seat"),
    ],
)
def test_level_percent_and_slope(case: Case, level, percent, slope):
    """Level, unclamped percent of the way, and Theil-Sen slope a week, baseline left out."""
    found = case.findings()
    assert round(found.level.value, 4) == Decimal(level)
    assert round(found.percent.value, 1) == Decimal(percent)
    assert round(found.slope.value, 4) == Decimal(slope)
    assert found.level.points == 3
    assert found.slope.points == 5


@pytest.mark.parametrize("visits", [0, 1, 2, 3, 4])
def test_no_worked_goal_is_met_before_its_fifth_visit(visits):
    """After fewer visits none of the goals met at visit 5 is met."""
    for case in (worked.letters(), worked.floor_play(), worked.hair_washing(), worked.balance(), worked.party()):
        assert case.findings(visits).criterion.state != MET


def test_buttons_by_accuracy_alone_would_be_met():
    """The same visits judged by accuracy alone: three of the last four, so the other clauses matter."""
    case = worked.buttons()
    alone = make_criterion(
        case.goal,
        {"component": "accuracy", "comparison": "at_least", "value": "1"},
        consistency=worked.of_last(3, 4),
    )
    found = Case(goal=case.goal, criterion=alone, baseline=case.baseline, visits=case.visits).findings()
    assert (found.criterion.state, found.criterion.satisfied) == (MET, 3)


def test_buttons_visits_say_which_clause_failed():
    """Each visit shows each clause by itself: at visit 3 only the time fails."""
    visits = [visit for visit in worked.buttons().findings().visits if visit.qualifies is not None]
    assert [visit.clauses for visit in visits] == [
        (False, False, False),
        (False, False, False),
        (True, False, True),
        (True, True, True),
        (True, True, True),
    ]
    assert [visit.satisfied for visit in visits] == [False, False, False, True, True]


def test_letters_carry_a_wilson_interval_with_its_caution():
    """63 of 72 letters give .7792 to .9328, and the sentence says that letters are not independent."""
    interval = worked.letters().findings().interval
    assert (interval.successes, interval.counted, interval.visits) == (63, 72, 3)
    assert (round(interval.low, 4), round(interval.high, 4)) == (Decimal("0.7792"), Decimal("0.9328"))
    assert "The letters of one visit are not independent trials" in interval.sentence


def test_letters_in_one_setting_only_are_not_met():
    """Three visits in a row in one setting are not two settings."""
    case = worked.letters()
    one_place = [{**visit, "setting": "clinic"} for visit in case.visits]
    found = Case(goal=case.goal, criterion=case.criterion, baseline=case.baseline, visits=one_place).findings()
    assert (found.criterion.state, found.criterion.satisfied) == (NOT_MET, 3)
    assert found.criterion.sentence.endswith("3 in a row are needed, in 1 setting of 2 needed.")


@pytest.mark.parametrize(
    ("case", "words"),
    [
        pytest.param(
            worked.shirt(), "Four of four steps gained; the number of steps asked for is reached.", id="steps"
        ),
        pytest.param(worked.teeth(), "Three of three levels gained; the level asked for is reached.", id="assistance"),
        pytest.param(worked.foods(), "Four of four levels gained; the level asked for is reached.", id="foods"),
        pytest.param(worked.party(), "Two of two levels gained; the level asked for is reached.", id="rating"),
    ],
)
def test_ordered_kinds_answer_in_words(case: Case, words):
    """Ordered kinds have no percent, no slope and no interval of a proportion; they count levels in words."""
    found = case.findings()
    assert found.ranks.sentence == words
    assert found.percent.value is None and found.slope.value is None and found.interval is None
    assert found.percent.missing.code == found.slope.missing.code == MissingCode.ORDERED
    assert found.slope.missing.sentence == "no percent, no slope: ordered"
    assert "No percent, no slope: ordered." in found.sentences


def test_teeth_level_is_a_word_and_never_a_number():
    """A level of assistance has a name in every answer, and no number."""
    found = worked.teeth().findings()
    assert (found.level.name, found.level.value) == ("supervision", None)
    assert (found.baseline.name, found.baseline.value) == ("moderate", None)
    assert [visit.name for visit in found.visits] == [
        "moderate",
        "moderate",
        "minimal",
        "minimal",
        "supervision",
        "supervision",
    ]
    assert all(visit.value is None for visit in found.visits)


def test_teeth_halfway_counts_the_levels_gained():
    """After three visits one of three levels is gained."""
    found = worked.teeth().findings(3)
    assert found.ranks.sentence == "One of three levels gained; the level asked for is not reached."


def test_floor_play_is_bounded_by_its_open_values():
    """Visits ended by plan leave level, percent and slope known from below."""
    found = worked.floor_play().findings()
    assert found.level.bound == found.percent.bound == found.slope.bound == Bound.LOWER
    assert found.level.sentence == "Level: at least 600 s, the middle of the last 3 visits."
    assert "changes by at least 120 s a week" in found.slope.sentence
    assert found.baseline.sentence == "Baseline: 150 s, one observation."


def test_balance_is_met_without_a_reliable_change():
    """A gain of 2 with a standard error of 1 is met, and named as within the measurement error."""
    change = worked.balance().findings().reliable_change
    assert (round(change.index, 3), change.reliable) == (Decimal("1.414"), False)
    assert change.sentence.startswith("Met, but not a reliable change: 2/(1.414) = 1.414 < 1.96")


def test_seat_rates_stand_per_thirty_minutes():
    """Counts in unequal watches become events in 30 minutes."""
    found = worked.seat().findings()
    assert [visit.value for visit in found.visits] == [Decimal(n) for n in ("12", "12", "6", "6", "2", "1.5")]


def test_party_has_its_t_scores():
    """From -2 to 0 is T 30 to 50 for a single goal."""
    score = worked.party().findings().attainment
    assert (score.baseline, score.now) == (Decimal(30), Decimal(50))


def ten_trials(*visits: int) -> Findings:
    """A returned note's goal: at least 8 of 10, at least 10 trials, three of the last four."""
    goal = make_goal({"kind": "accuracy"})
    criterion = make_criterion(
        goal,
        {"component": "accuracy", "comparison": "at_least", "value": "0.8"},
        consistency=worked.of_last(3, 4),
        minimum_data={"trials": 10},
    )
    return Case(
        goal=goal,
        criterion=criterion,
        baseline=[worked.counts(done, 10) for done in (3, 3, 4)],
        visits=[worked.counts(done, 10) for done in visits],
    ).findings()


@pytest.mark.parametrize(
    ("visits", "state", "satisfied", "slope"),
    [
        pytest.param((6, 8, 5, 8, 9), MET, 3, "0.708", id="signed"),
        pytest.param((6, 8, 5, 8), NOT_MET, 2, "0.333", id="returned"),
        pytest.param((6, 8, 5, 8, 7), NOT_MET, 2, "0.125", id="signed-again"),
    ],
)
def test_a_returned_note_takes_a_met_away(visits, state, satisfied, slope):
    """State and slope (successes of ten a week) with the visit, without it, and with its revision."""
    found = ten_trials(*visits)
    assert (found.criterion.state, found.criterion.satisfied, found.criterion.window) == (state, satisfied, 4)
    assert round(found.slope.value * 10, 3) == Decimal(slope)


def test_the_revised_note_leaves_seven_of_ten_and_eighty_percent():
    """Level 7 of 10, 80 % of the way from 3 to 8."""
    found = ten_trials(6, 8, 5, 8, 7)
    assert found.level.value == Decimal("0.7")
    assert found.percent.value == Decimal(80)
    assert len({ten_trials(*visits).input_digest for visits in ((6, 8, 5, 8, 9), (6, 8, 5, 8), (6, 8, 5, 8, 7))}) == 3


def test_a_goal_to_keep_reads_no_change_as_sustaining():
    """A goal to maintain, level with its baseline and short of the criterion's count, is sustaining."""
    goal = make_goal({"kind": "quantity"}, purpose="maintain")
    criterion = make_criterion(
        goal,
        {"component": "quantity", "comparison": "at_least", "value": "5"},
        consistency=worked.of_last(3, 4),
    )
    case = Case(
        goal=goal,
        criterion=criterion,
        baseline=[{"value": 5}],
        visits=[{"value": turns} for turns in (5, 4, 4, 5, 5)],
    )
    found = case.findings()
    assert found.criterion.state == NOT_MET and found.achievement == Achievement.SUSTAINING
    assert case.findings(2).achievement == Achievement.IN_PROGRESS
    assert found.percent.missing.code == MissingCode.MAINTAIN


@pytest.mark.parametrize("name", ["letters", "teeth", "floor_play", "balance", "party", "seat"])
def test_no_sentence_says_why(name):
    """Findings describe what was recorded; no sentence claims a cause."""
    said = " ".join(getattr(worked, name)().findings().sentences).lower()
    assert said.endswith("these numbers describe what was recorded; they do not say why.")
    for word in ("because", "therapy", "thanks to", "due to", "caused", "effect"):
        assert word not in said
