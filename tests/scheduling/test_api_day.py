"""The day in one call: her visits, what to heed with each child, goals with their last numbers, what is owed."""

from datetime import date
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from clinic.enums import Role
from clinic.models import Precaution
from goals.models import Goal, OrderedScale
from tests import factories as make
from tests.scheduling.flow import Flow

pytestmark = pytest.mark.django_db

DAY = "2026-03-31"
MORNING = f"{DAY} 07:30"


@pytest.fixture
def flow():
    return Flow()


def precaution(flow, **over) -> Precaution:
    given = {
        "kind": "loading",
        "text": "No weight on the left hand",
        "refused": ["weight_bearing"],
        "set_by": "physician",
        "may_be_lifted_by": "physician",
        "starts_on": date(2026, 3, 1),
        **over,
    }
    return Precaution.objects.create(
        organization=flow.organization, client=flow.child, recorded_by=flow.supervisor, **given
    )


def day_of(flow, *, at: str = MORNING, api=None, **asked) -> dict:
    answer = flow.get("day/", at=at, api=api, **asked)
    assert answer.status_code == 200, answer.content
    return answer.json()


def test_a_day_without_visits(flow):
    """Today in the organization's zone, and nothing in it."""
    assert day_of(flow) == {"date": DAY, "visits": [], "unsigned": []}
    assert day_of(flow, at="2026-03-31 23:30")["date"] == DAY  # 1 April in UTC


def test_a_visit_of_the_day_is_told_whole(flow):
    """When, where and how; the child by name and birth date; her part with its version."""
    answer = flow.book(f"{DAY} 15:00", at=MORNING, mode="video", place="At home").json()
    precaution(flow)
    (visit,) = day_of(flow)["visits"]
    (child,) = visit.pop("children")
    assert visit == {
        "id": answer["id"],
        "kind": "treatment",
        "mode": "video",
        "place": "At home",
        "status": "booked",
        "starts_at": "2026-03-31T20:00:00Z",
        "ends_at": "2026-03-31T20:45:00Z",
        "site": flow.site.name,
        "time_zone": "America/Chicago",
    }
    (heeded,) = child.pop("precautions")
    assert (heeded["text"], heeded["refused"], heeded["set_by"]) == (
        "No weight on the left hand",
        ["weight_bearing"],
        "physician",
    )
    assert child == {
        "participation": answer["children"][0]["id"],
        "version": 1,
        "status": "booked",
        "starts_at": "2026-03-31T20:00:00Z",
        "ends_at": "2026-03-31T20:45:00Z",
        "arrived_at": None,
        "minutes": None,
        "episode": str(flow.episode.pk),
        "client": str(flow.child.pk),
        "given_name": "Mirela",
        "family_name": "Oduya",
        "preferred_name": "",
        "birth_date": "2021-05-17",
        "note": None,
        "note_state": None,
        "planned_goals": [],
        "goals": [],
        "due": [],
    }


def test_visits_stand_by_the_clock(flow):
    """Earliest first, of that day alone, in the site's zone."""
    late = flow.book("2026-03-31 18:30", at=MORNING).json()["id"]
    early = flow.book("2026-03-31 08:00", at=MORNING).json()["id"]
    tomorrow = flow.book("2026-04-01 08:00", at=MORNING).json()["id"]
    assert [visit["id"] for visit in day_of(flow)["visits"]] == [early, late]
    assert [visit["id"] for visit in day_of(flow, date="2026-04-01")["visits"]] == [tomorrow]


def test_only_her_own_visits(flow):
    """A colleague's visit with a child whom she treats as well is not in her day, but in the colleague's."""
    mia, mia_api = flow.person("Mia Lund", Role.THERAPIST)
    visit = flow.book(f"{DAY} 09:00", at=MORNING, staff=[str(mia.pk)]).json()["id"]
    assert day_of(flow)["visits"] == []
    assert [v["id"] for v in day_of(flow, api=mia_api)["visits"]] == [visit]


def test_a_child_whose_reach_has_ended_is_not_shown(flow):
    """A covered visit of last week, its note signed: the day still knows nothing of the child."""
    cover, mia = flow.person("Mia Lund", Role.ASSISTANT)
    make.make_supervision(cover, flow.supervisor)
    part = flow.book("2026-03-24 09:00", at="2026-03-20 09:00", staff=[str(cover.pk)]).json()["children"][0]["id"]
    assert len(day_of(flow, at="2026-03-24 08:00", api=mia)["visits"]) == 1
    note = flow.put(part, [], at="2026-03-24 10:00", api=mia)
    flow.sign(note, at="2026-03-24 10:05", api=mia)
    assert day_of(flow, at="2026-03-25 08:00", api=mia, date="2026-03-24")["visits"] == []


def test_precautions_are_those_of_the_day(flow):
    """From the day on which one begins to the day before it is lifted."""
    flow.book(f"{DAY} 09:00", at=MORNING)
    flow.book("2026-04-02 09:00", at=MORNING)
    precaution(flow, text="From today", starts_on=date(2026, 3, 31))
    precaution(flow, text="From tomorrow", starts_on=date(2026, 4, 1))
    lifted = {"lifted_by": "physician", "lifted_recorded_by": flow.supervisor}
    precaution(flow, text="Lifted today", lifted_on=date(2026, 3, 31), **lifted)
    precaution(flow, text="Lifted tomorrow", lifted_on=date(2026, 4, 1), **lifted)

    def texts(day: str) -> set[str]:
        (visit,) = day_of(flow, date=day)["visits"]
        return {row["text"] for row in visit["children"][0]["precautions"]}

    assert texts(DAY) == {"From today", "Lifted tomorrow"}
    assert texts("2026-04-02") == {"From today", "From tomorrow"}


def test_active_goals_come_with_their_last_numbers(flow):
    """By number, with value, level, way and criterion; a goal on hold is left out; what was met asks to be seen."""
    goal = flow.goal_of_ten(baseline=[3, 3, 4], needed=8)
    Goal.objects.create(
        organization=flow.organization,
        episode=flow.episode,
        client=flow.child,
        number=2,
        text="on hold",
        purpose="improve",
        direction="increase",
        measure="accuracy",
        lifecycle="on-hold",
        starts_on=date(2026, 3, 1),
        proposed_by=flow.supervisor,
    )
    for day, successes in (("2026-03-03", 8), ("2026-03-10", 9), ("2026-03-17", 8)):
        flow.signed_visit(day, successes=successes, goal=goal)
    flow.deliver()
    flow.book(f"{DAY} 09:00", at=MORNING)
    (visit,) = day_of(flow)["visits"]
    (shown,) = visit["children"][0]["goals"]
    assert (shown["id"], shown["number"], shown["last_on"]) == (str(goal), 1, "2026-03-17")
    assert (Decimal(shown["last_value"]), Decimal(shown["level"])) == (Decimal("0.8"), Decimal("0.8"))
    assert (shown["criterion"], shown["satisfied"], shown["preliminary"]) == ("met", 3, True)
    (due,) = visit["children"][0]["due"]
    assert (due["kind"], due["goal"]) == ("goal_met", str(goal))


def test_a_goal_says_what_to_count(flow):
    """Its exemplars, the levels of its scale, and what is counted besides: enough to document without asking again."""
    scale = OrderedScale.objects.create(
        organization=flow.organization, name="Closeness to a food", levels=["not in sight", "touches", "licks"]
    )
    flow.goal(measure="ordered", scale=scale, strata="exemplar", strata_names=["pear", "rice"])
    flow.goal(components=[{"kind": "duration", "unit": "s"}])
    flow.book(f"{DAY} 09:00", at=MORNING)
    (visit,) = day_of(flow)["visits"]
    first, second = visit["children"][0]["goals"]
    assert (first["strata"], first["strata_names"]) == ("exemplar", ["pear", "rice"])
    assert (first["levels"], first["components"]) == (["not in sight", "touches", "licks"], [])
    assert second["components"] == [{"kind": "duration", "unit": "s"}]


def test_her_note_is_told_with_its_state(flow):
    """Missing, draft, signed, returned, co-signed; in co-treatment each sees her own."""
    both = [str(flow.assistant.pk), str(flow.supervisor.pk)]
    answer = flow.book(f"{DAY} 09:00", at=MORNING, kind="co_treatment", staff=both)
    part = answer.json()["children"][0]["id"]

    def told(api=None):
        (visit,) = day_of(flow, at=f"{DAY} 17:00", api=api)["visits"]
        child = visit["children"][0]
        return child["note"], child["note_state"]

    assert told() == (None, None)
    note = flow.put(part, [], at=f"{DAY} 10:00")
    assert (told(), told(flow.ruth)) == ((note, "draft"), (None, None))
    digest = flow.sign(note, at=f"{DAY} 10:05").json()["current"]["digest"]
    assert told() == (note, "signed")
    flow.send_back(note, digest=digest, reason="Which cues?", at=f"{DAY} 11:00")
    assert told() == (note, "returned")


def test_what_is_owed_reaches_back(flow):
    """Held visits whose note is missing, a draft or returned, of any day up to today; not those ahead or missed."""
    missing = flow.visit("2026-03-10")
    flow.step(missing, "finish", at="2026-03-10 10:00")
    drafted = flow.visit("2026-03-11")
    flow.step(drafted, "finish", at="2026-03-11 10:00")
    draft = flow.put(drafted, [], at="2026-03-11 11:00")
    back = flow.visit("2026-03-12")
    returned = flow.put(back, [], at="2026-03-12 11:00")
    digest = flow.sign(returned, at="2026-03-12 11:05").json()["current"]["digest"]
    flow.send_back(returned, digest=digest, reason="Which cues?", at="2026-03-13 11:00")
    signed = flow.put(flow.visit("2026-03-16"), [], at="2026-03-16 11:00")
    flow.sign(signed, at="2026-03-16 11:05")
    flow.step(flow.visit("2026-03-17"), "no-show", at="2026-03-17 09:30", cause="client")
    flow.visit("2026-03-18")  # nobody has said yet that it took place
    flow.book("2026-04-02 09:00", at=MORNING)
    owed = [(row["participation"], row["note"], row["state"]) for row in day_of(flow)["unsigned"]]
    assert owed == [(missing, None, "missing"), (drafted, draft, "draft"), (back, returned, "returned")]


def test_what_is_owed_is_hers(flow):
    """Her supervisor owes nothing for it."""
    flow.step(flow.visit("2026-03-10"), "finish", at="2026-03-10 10:00")
    assert day_of(flow, api=flow.ruth)["unsigned"] == []


def test_the_day_costs_as_much_for_six_visits_as_for_one(flow):
    """One call, the same number of queries."""
    flow.book(f"{DAY} 08:00", at=MORNING)

    def cost() -> int:
        with CaptureQueriesContext(connection) as queries:
            day_of(flow)
        return len(queries)

    once = cost()
    for hour in range(9, 14):
        flow.book(f"{DAY} {hour:02}:00", at=MORNING, children=[{"episode": str(flow.another_child().pk)}])
    assert len(day_of(flow)["visits"]) == 6
    assert cost() == once


@pytest.mark.parametrize("role", [Role.ADMINISTRATOR, Role.FRONT_DESK])
def test_the_office_has_no_clinical_day(flow, role):
    """403: precautions and goals are not theirs."""
    _, api = flow.person("Ida Roth", role)
    assert flow.get("day/", at=MORNING, api=api).status_code == 403


@pytest.mark.parametrize("asked", [{"date": "yesterday"}, {"date": "2026-02-30"}, {"day": DAY}])
def test_a_day_that_is_none(flow, asked):
    """400."""
    assert flow.get("day/", at=MORNING, **asked).status_code == 400
