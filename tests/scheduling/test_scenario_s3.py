"""S3: a returned note takes a "met" away, through the API, step by step as it is written."""

from decimal import Decimal

import pytest
import time_machine

from clinic.models import OutboxHandling
from goals.models import GoalProgressHistory, ReviewItem
from tests import factories as make
from tests.scheduling.flow import Flow

pytestmark = pytest.mark.django_db

VISITS = ["2026-03-03", "2026-03-10", "2026-03-17", "2026-03-24", "2026-03-31"]


@pytest.fixture
def flow():
    return Flow()


def test_a_returned_note_takes_a_met_away(flow):
    """Met, preliminary, by the first version; not met once it is returned; not met by the second."""
    goal = flow.goal_of_ten(baseline=[3, 3, 4], needed=8)
    for day, successes in zip(VISITS[:4], [6, 8, 5, 8], strict=True):
        flow.signed_visit(day, successes=successes, goal=goal)
    flow.deliver()
    rows_before = GoalProgressHistory.objects.filter(goal_id=goal).count()

    fifth = flow.visit("2026-03-31")
    note = flow.put_note(fifth, successes=9, goal=goal, at="2026-03-31 09:50")
    flow.sign(note, at="2026-03-31 10:00")
    flow.deliver()
    met = flow.progress(goal)
    assert (met["criterion"]["state"], met["preliminary"]) == ("met", True)
    assert round(Decimal(met["slope"]["value"]) * 10, 3) == Decimal("0.708")
    assert ReviewItem.objects.get(goal_id=goal).withdrawn_at is None
    assert flow.caseload()["goals_met"] == 1

    first = flow.read(note)["current"]["digest"]
    assert flow.send_back(note, digest=first, reason="Which cues?", at="2026-03-31 11:00").status_code == 200
    flow.deliver()
    assert flow.progress(goal)["criterion"]["state"] == "not_met"
    assert round(Decimal(flow.progress(goal)["slope"]["value"]) * 10, 3) == Decimal("0.333")
    assert flow.caseload()["goals_met"] == 0
    item = ReviewItem.objects.get(goal_id=goal)
    assert item.withdrawn_at is not None

    flow.revise(note, fifth, successes=7, goal=goal, at="2026-03-31 11:50")
    flow.sign(note, at="2026-03-31 12:00")
    flow.deliver()
    last = flow.progress(goal)
    assert last["criterion"]["state"] == "not_met"
    assert round(Decimal(last["slope"]["value"]) * 10, 3) == Decimal("0.125")
    assert Decimal(last["level"]["value"]) == Decimal("0.7")
    assert Decimal(last["percent"]["value"]) == 80

    stale = flow.cosign(note, digest=first, at="2026-03-31 13:00")
    assert (stale.status_code, stale.json()["code"]) == (409, "version_changed")
    second = flow.read(note)["current"]["digest"]
    assert flow.cosign(note, digest=second, at="2026-03-31 13:05").status_code == 200
    again = flow.cosign(note, digest=second, at="2026-03-31 13:06")
    assert (again.status_code, again.json()["code"]) == (409, "already_cosigned")

    with time_machine.travel(make.at("2026-03-31 14:00")):
        assert flow.progress(goal, known_at="2026-03-31T10:30:00-05:00")["criterion"]["state"] == "met"
        assert flow.progress(goal, known_at="2026-03-31T12:30:00-05:00")["criterion"]["state"] == "not_met"

    history = GoalProgressHistory.objects.filter(goal_id=goal).order_by("number")[rows_before : rows_before + 3]
    assert len({row.input_digest for row in history}) == 3
    flow.deliver()
    assert flow.progress(goal)["preliminary"] is True  # the earlier notes still wait for their co-signatures
    count = GoalProgressHistory.objects.filter(goal_id=goal).count()
    flow.recompute(goal)
    flow.recompute(goal)
    assert GoalProgressHistory.objects.filter(goal_id=goal).count() == count
    assert not OutboxHandling.objects.filter(done_at__isnull=True).exists()
