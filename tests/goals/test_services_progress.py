"""Progress follows the signed notes: by day, by what was known when, and once however often it is asked."""

from datetime import date

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from clinic.models import ChangeFeed
from clinic.selectors.actors import person
from goals import tasks
from goals.models import Goal, GoalProgress, GoalProgressHistory, Measurement, ReviewItem
from goals.selectors.definitions import phases_of
from goals.selectors.measurements import counting
from goals.services import progress, review_items
from goals.services.goal_definitions import write_phase
from goals.services.measurements import AlreadyCorrected
from tests import factories as make
from tests.goals.team import AFTER, BASELINE_DAY, VISIT_DAYS, make_goal, make_note, make_team

pytestmark = pytest.mark.django_db
FIFTH = VISIT_DAYS[4]


def of_ten(*successes):
    return [{"successes": number, "opportunities": 10} for number in successes]


@pytest.fixture
def measured():
    """Baseline 3, 3, 4 of 10; visits 6, 8, 5, 8 of 10; the criterion asks for 8 of 10 at 3 of the last 4."""
    team = make_team()
    with time_machine.travel(make.at("2026-02-20 09:00")):
        goal_id = make_goal(team)
    make_note(team, goal_id, BASELINE_DAY, *of_ten(3, 3, 4))
    for day, sheet in zip(VISIT_DAYS[:4], of_ten(6, 8, 5, 8), strict=True):
        make_note(team, goal_id, day, sheet)
    return team, goal_id


def fifth(team, goal_id):
    return make_note(team, goal_id, FIFTH, *of_ten(9), signed_at=make.at("2026-03-31 10:00"))


def again(document, goal_id, successes, at):
    raws = [{"goal": goal_id, **sheet} for sheet in of_ten(successes)]
    make.sign_again(document, measurements=raws, signed_at=make.at(at))


def slope_of_ten(found):
    return str(round(found.slope_per_week * 10, 3))


def recompute(document, at):
    progress.recompute_of_document(document.pk, now=make.at(at))
    return GoalProgress.objects.get()


def test_a_returned_note_takes_a_met_away(measured):
    """Met and preliminary when v1 is signed; not met once it is returned; nor with v2. Three rows, three digests."""
    team, goal_id = measured
    note = fifth(team, goal_id)
    signed = recompute(note, "2026-03-31 10:01")
    assert (signed.criterion, signed.satisfied, signed.preliminary) == ("met", 3, True)
    assert slope_of_ten(signed) == "0.708"

    make.return_note(note, team.therapist, at=make.at("2026-03-31 11:00"))
    returned = recompute(note, "2026-03-31 11:01")
    assert (returned.criterion, returned.satisfied) == ("not_met", 2)
    assert slope_of_ten(returned) == "0.333"

    again(note, goal_id, 7, "2026-03-31 12:00")
    second = recompute(note, "2026-03-31 12:01")
    assert (second.criterion, second.satisfied, second.level) == ("not_met", 2, "0.7")
    assert (round(second.percent), slope_of_ten(second)) == (80, "0.125")

    history = GoalProgressHistory.objects.order_by("number")
    assert [(row.number, row.criterion) for row in history] == [(1, "met"), (2, "not_met"), (3, "not_met")]
    assert len({row.input_digest for row in history}) == 3
    item = ReviewItem.objects.get()
    assert (item.opened_at, item.withdrawn_at) == (make.at("2026-03-31 10:01"), make.at("2026-03-31 11:01"))


@pytest.mark.parametrize(
    ("known_at", "state", "satisfied"),
    [
        pytest.param("2026-03-31 09:59", "not_met", 2, id="before v1"),
        pytest.param("2026-03-31 10:30", "met", 3, id="v1 signed"),
        pytest.param("2026-03-31 11:30", "not_met", 2, id="v1 returned"),
        pytest.param("2026-03-31 12:30", "not_met", 2, id="v2 signed"),
    ],
)
def test_what_was_known_at_an_instant_stays_known(measured, known_at, state, satisfied):
    """The past answer is read from signatures and verdicts up to that instant, whatever came later."""
    team, goal_id = measured
    note = fifth(team, goal_id)
    make.return_note(note, team.therapist, at=make.at("2026-03-31 11:00"))
    again(note, goal_id, 7, "2026-03-31 12:00")
    found = progress.find_now(Goal.objects.get(), known_at=make.at(known_at))
    assert (found.criterion.state, found.criterion.satisfied) == (state, satisfied)


def test_up_to_a_day_counts_todays_knowledge_of_that_day(measured):
    """As of the third visit: three visits after the baseline, whatever was signed since."""
    team, goal_id = measured
    fifth(team, goal_id)
    found = progress.find_now(Goal.objects.get(), as_of=VISIT_DAYS[2])
    assert [visit.day for visit in found.visits if visit.phase == "intervention"] == VISIT_DAYS[:3]
    assert found.criterion.satisfied == 1


def test_computing_twice_adds_nothing(measured):
    """The same rows give the same digest: no history, no item, no entry in the feed."""
    team, goal_id = measured
    note = fifth(team, goal_id)
    recompute(note, "2026-03-31 10:01")
    before = (ChangeFeed.objects.count(), GoalProgressHistory.objects.count(), ReviewItem.objects.count())
    first = GoalProgress.objects.values().get()
    recompute(note, "2026-04-02 10:01")
    assert (ChangeFeed.objects.count(), GoalProgressHistory.objects.count(), ReviewItem.objects.count()) == before
    assert GoalProgress.objects.values().get() == first


def test_a_cosignature_makes_it_final(measured):
    """Preliminary until every note is co-signed: another digest, the item stays open."""
    team, goal_id = measured
    note = fifth(team, goal_id)
    recompute(note, "2026-03-31 10:01")
    for document in team.episode.documents.all():
        make.cosign_note(document, team.therapist, at=make.at("2026-03-31 13:00"))
    final = recompute(note, "2026-03-31 13:01")
    assert (final.criterion, final.preliminary) == ("met", False)
    assert GoalProgressHistory.objects.count() == 2
    assert ReviewItem.objects.filter(withdrawn_at__isnull=True, acknowledged_at__isnull=True).count() == 1
    early = progress.find_now(Goal.objects.get(), known_at=make.at("2026-03-31 12:59"))
    assert early.preliminary is True


def test_a_note_entered_in_error_counts_no_more(measured):
    """Out by its state alone, from the instant at which it was called so."""
    team, goal_id = measured
    note = fifth(team, goal_id)
    make.enter_in_error(note, team.therapist, at=make.at("2026-03-31 15:00"))
    assert recompute(note, "2026-03-31 15:01").criterion == "not_met"
    goal = Goal.objects.get()
    assert progress.find_now(goal, known_at=make.at("2026-03-31 14:59")).criterion.state == "met"
    assert progress.find_now(goal, known_at=make.at("2026-03-31 15:00")).criterion.state == "not_met"


def test_an_addendum_replaces_a_number(measured):
    """The corrected number counts at the same visit; before the addendum was signed, the first one did."""
    team, goal_id = measured
    note = fifth(team, goal_id)
    wrong = Measurement.objects.get(document=note)
    corrected = [{"goal": goal_id, "replaces": str(wrong.pk), **of_ten(7)[0]}]
    addendum = make.make_signed_note(
        team.assistant,
        team.episode,
        service_date=FIFTH,
        measurements=corrected,
        signed_at=make.at("2026-04-01 08:00"),
        amends=note,
    )
    assert recompute(addendum, "2026-04-01 08:01").criterion == "not_met"
    rows = counting([Goal.objects.get().pk]).filter(service_date=FIFTH)
    assert [(row.document_id, row.successes) for row in rows] == [(addendum.pk, 7)]
    goal = Goal.objects.get()
    last = progress.find_now(goal).visits[-1]
    assert (last.visit, last.successes) == (str(note.pk), 7)
    assert progress.find_now(goal, known_at=make.at("2026-04-01 07:59")).criterion.state == "met"


def test_a_number_is_corrected_once(measured):
    """Of two addenda drafted side by side the second to be signed is refused, and nothing of it is written."""
    team, goal_id = measured
    note = fifth(team, goal_id)
    wrong = Measurement.objects.get(document=note)
    corrected = [{"goal": goal_id, "replaces": str(wrong.pk), **of_ten(7)[0]}]
    judged = make.measuring.judge(
        actor_organization=team.organization.pk,
        episode=team.episode,
        service_date=FIFTH,
        raws=corrected,
        amends=note,
    )
    given = {"service_date": FIFTH, "amends": note}
    first = make.make_signed_note(team.assistant, team.episode, measurements=corrected, **given)
    second = make.make_signed_note(team.assistant, team.episode, measurements=[], **given)
    with pytest.raises(AlreadyCorrected):
        make.measuring.write(
            version=second.current_version, document=second, judged=judged, site_id=None, recorded_at=AFTER
        )
    assert list(Measurement.objects.filter(replaces=wrong).values_list("document", flat=True)) == [first.pk]


def test_looking_at_an_item_settles_it_until_the_goal_is_met_anew(measured):
    """An acknowledged item is not opened again while the criterion stays met; met anew, it asks anew."""
    team, goal_id = measured
    note = fifth(team, goal_id)
    recompute(note, "2026-03-31 10:01")
    item = ReviewItem.objects.get()
    review_items.acknowledge(actor=actor_of(team.therapist), item=item, now=make.at("2026-03-31 10:30"))
    recompute(note, "2026-03-31 10:31")
    assert ReviewItem.objects.count() == 1
    make.return_note(note, team.therapist, at=make.at("2026-03-31 11:00"))
    recompute(note, "2026-03-31 11:01")
    again(note, goal_id, 10, "2026-03-31 12:00")
    recompute(note, "2026-03-31 12:01")
    rows = ReviewItem.objects.order_by("opened_at")
    assert [(row.withdrawn_at is None, row.acknowledged_at is None) for row in rows] == [(False, False), (True, True)]


def actor_of(staff):
    return person(user_id=staff.user_id, now=AFTER, application="session", scopes=None)


def test_a_phase_to_come_does_not_rule_yet(measured):
    """A criterion revised from a day ahead changes nothing before that day, and is taken up once it begins."""
    team, goal_id = measured
    note = fifth(team, goal_id)
    recompute(note, "2026-03-31 10:01")
    answer = make.signed_in(team.therapist).post(
        f"/api/v1/goals/{goal_id}/phases/",
        {
            "kind": "intervention",
            "starts_on": "2026-04-07",
            "criterion": {
                "clauses": [{"comparison": "at_least", "value": "0.9"}],
                "consistency": {"kind": "in_a_row", "k": 2},
            },
        },
        HTTP_IF_MATCH='"1"',
    )
    assert answer.status_code == 200, answer.content
    # The phase in course now has a last day: the findings rest on something new, and say the same.
    assert recompute(note, "2026-04-06 12:00").criterion == "met"
    assert progress.recompute_begun(now=make.at("2026-04-07 06:00")) == 1
    begun = GoalProgress.objects.get()
    assert (begun.criterion, begun.findings["phase_ordinal"]) == ("not_enough_data", 3)
    assert ReviewItem.objects.get().withdrawn_at == make.at("2026-04-07 06:00")
    assert progress.recompute_begun(now=make.at("2026-04-08 06:00")) == 0


def test_what_was_known_of_phases_is_kept_too(measured):
    """Before the revision was written the first criterion ruled, without an end."""
    team, goal_id = measured
    fifth(team, goal_id)
    test_goal = Goal.objects.get()
    written_at = test_goal.phases.get(ordinal=2).written_at
    last = test_goal.phases.get(ordinal=2)
    last.ends_on = date(2026, 4, 6)
    last.save()
    later = written_at + make.days(7)
    write_phase(
        goal=test_goal,
        criterion=None,
        ordinal=3,
        kind="maintenance",
        starts_on=date(2026, 4, 7),
        written_by=team.therapist,
        written_at=later,
    )
    goal = Goal.objects.get()
    assert [phase.ends_on for phase in phases_of(goal)] == [date(2026, 3, 2), date(2026, 4, 6), None]
    assert [phase.ends_on for phase in phases_of(goal, known_at=written_at)] == [date(2026, 3, 2), None]


def test_the_tasks_take_what_the_messages_carry(measured):
    """Each listener is called with the message's references, and does not mind further ones."""
    team, goal_id = measured
    note = fifth(team, goal_id)
    assert tasks.recompute_of_document(document_id=str(note.pk), version_id="x") == 1
    assert tasks.recompute_goal(goal_id=goal_id, episode_id="x") is False
    assert tasks.recompute_goal(goal_id=make.new_id()) is False


def test_many_goals_are_read_in_one_query(measured):
    """What counts of six goals costs one statement, as of one."""
    team, goal_id = measured
    others = [make_goal(team) for _ in range(5)]
    for other in others:
        make_note(team, other, FIFTH, *of_ten(5))
    with CaptureQueriesContext(connection) as asked:
        rows = list(counting([goal_id, *others]))
        assert {row.preliminary for row in rows} == {True}
    assert (len(rows), len(asked)) == (12, 1)
