"""A booking puts its clinicians on the child's care team: from some days before, until the note is signed."""

from datetime import date

import pytest
import time_machine

from clinic.enums import Role
from clinic.models import CareTeam, Organization
from scheduling.models import Participation, Visit
from tests import factories as make
from tests.scheduling.flow import Flow

pytestmark = pytest.mark.django_db

BOOKED_ON = "2026-03-02 09:00"
DAY = "2026-03-31"
NINE = f"{DAY} 09:00"


class Cover(Flow):
    """Mia covers one visit of a child whom she does not treat otherwise."""

    def __init__(self) -> None:
        super().__init__()
        self.cover, self.mia = self.person("Mia Lund", Role.ASSISTANT)
        make.make_supervision(self.cover, self.supervisor)

    def covered(self, start: str = NINE, *, at: str = BOOKED_ON, **over) -> tuple[str, str]:
        """The ids of the visit and of the child's part in it."""
        answer = self.book(start, at=at, staff=[str(self.cover.pk)], **over)
        assert answer.status_code == 201, answer.content
        return answer.json()["id"], answer.json()["children"][0]["id"]

    def reaches(self, *, at: str) -> bool:
        with time_machine.travel(make.at(at), tick=False):
            status = self.mia.get(f"/api/v1/episodes/{self.episode.pk}/").status_code
        assert status in (200, 404)
        return status == 200

    def rows(self, visit: str) -> list[tuple]:
        return list(CareTeam.objects.filter(source_id=visit).values_list("staff_id", "starts_on", "ends_on"))


@pytest.fixture
def flow():
    return Cover()


def test_reach_begins_seven_days_before(flow):
    """Not on 23 March, but from the 24th; the visit itself shows no child before."""
    visit, _ = flow.covered()
    assert flow.rows(visit) == [(flow.cover.pk, date(2026, 3, 24), None)]
    assert not flow.reaches(at="2026-03-23 23:59")
    with time_machine.travel(make.at("2026-03-23 12:00"), tick=False):
        early = flow.mia.get(f"/api/v1/visits/{visit}/").json()
    assert early["children"] == []
    assert flow.reaches(at="2026-03-24 00:00")


def test_the_organization_says_how_many_days(flow):
    """Two days before, where it is set to two."""
    Organization.objects.filter(pk=flow.organization.pk).update(care_team_days_before_booking=2)
    visit, _ = flow.covered()
    assert flow.rows(visit) == [(flow.cover.pk, date(2026, 3, 29), None)]


def test_reach_ends_with_the_day_of_the_signature(flow):
    """However long the note takes; what she wrote and signed stays hers for ever."""
    visit, part = flow.covered()
    assert flow.reaches(at="2026-04-08 09:00")  # the note is owed still
    note = flow.put(part, [], at="2026-04-09 12:00", api=flow.mia)
    assert flow.reaches(at="2026-04-09 12:01")
    flow.sign(note, at="2026-04-09 12:05", api=flow.mia)
    assert flow.rows(visit) == [(flow.cover.pk, date(2026, 3, 24), date(2026, 4, 9))]
    assert flow.reaches(at="2026-04-09 23:59")
    assert not flow.reaches(at="2026-04-10 00:00")
    with time_machine.travel(make.at("2026-06-01 09:00"), tick=False):
        assert flow.read(note, flow.mia)["state"] == "signed"


def test_one_signature_ends_one_booking(flow):
    """A second visit next week keeps her on the team."""
    first, part = flow.covered()
    flow.covered("2026-04-07 09:00")
    note = flow.put(part, [], at=f"{DAY} 10:00", api=flow.mia)
    flow.sign(note, at=f"{DAY} 10:05", api=flow.mia)
    assert flow.reaches(at="2026-04-01 09:00")


def test_a_cancelled_booking_gives_no_reach(flow):
    """Cancelled before the reach began it is taken back; cancelled later it ends with that day."""
    early, early_part = flow.covered("2026-04-20 09:00")
    flow.step(early_part, "cancel", at="2026-03-03 09:00", cause="client")
    assert flow.rows(early) == []
    visit, part = flow.covered()
    flow.step(part, "cancel", at="2026-03-30 09:00", cause="client")
    assert flow.rows(visit) == [(flow.cover.pk, date(2026, 3, 24), date(2026, 3, 30))]
    assert flow.reaches(at="2026-03-30 18:00")
    assert not flow.reaches(at="2026-03-31 00:00")


@pytest.mark.parametrize("cancelled_at", ["2026-03-03 09:00", "2026-03-30 09:00"])
def test_reinstating_gives_the_reach_again(flow, cancelled_at):
    """Whether it had begun or not."""
    visit, part = flow.covered()
    flow.step(part, "cancel", at=cancelled_at, cause="client")
    assert flow.step(part, "reinstate", at="2026-03-30 10:00").status_code == 200
    assert flow.rows(visit) == [(flow.cover.pk, date(2026, 3, 24), None)]


def test_a_move_moves_the_reach(flow):
    """A week later it begins a week later; who is no longer booked has none."""
    visit, _ = flow.covered()
    assert (
        flow.book(
            "2026-04-07 09:00", at="2026-03-03 09:00", visit=visit, match=1, staff=[str(flow.cover.pk)]
        ).status_code
        == 200
    )
    assert flow.rows(visit) == [(flow.cover.pk, date(2026, 3, 31), None)]
    assert flow.book("2026-04-07 09:00", at="2026-04-01 09:00", visit=visit, match=2).status_code == 200
    assert set(flow.rows(visit)) == {
        (flow.cover.pk, date(2026, 3, 31), date(2026, 4, 1)),
        (flow.assistant.pk, date(2026, 3, 31), None),
    }


def test_a_booking_reaches_this_episode_only(flow):
    """The same child's school episode stays closed to her."""
    school = make.make_episode(flow.child, setting="school", record_regime="education_record")
    flow.covered()
    with time_machine.travel(make.at(NINE), tick=False):
        assert flow.mia.get(f"/api/v1/episodes/{school.pk}/").status_code == 404
        assert flow.mia.get(f"/api/v1/episodes/{flow.episode.pk}/").status_code == 200


def test_a_supervisor_follows_her_assistants_booking(flow):
    """What Mia reaches through the booking, her supervisor reaches through Mia, and no longer."""
    CareTeam.objects.filter(staff=flow.supervisor).delete()
    CareTeam.objects.filter(staff=flow.assistant).update(ends_on=date(2026, 3, 10))
    flow.covered()
    url = f"/api/v1/episodes/{flow.episode.pk}/"
    for at, status in (("2026-03-23 09:00", 404), ("2026-03-24 09:00", 200)):
        with time_machine.travel(make.at(at), tick=False):
            assert flow.ruth.get(url).status_code == status


def test_in_co_treatment_each_writes_a_note_of_her_own(flow):
    """Two clinicians, one part of a visit, two notes; minutes are counted once; each reach ends with her own note."""
    answer = flow.book(NINE, at=BOOKED_ON, kind="co_treatment", staff=[str(flow.cover.pk), str(flow.supervisor.pk)])
    visit, part = answer.json()["id"], answer.json()["children"][0]["id"]
    first = flow.put(part, [], at=f"{DAY} 10:00", api=flow.mia)
    second = flow.put(part, [], at=f"{DAY} 10:00", api=flow.ruth)
    flow.sign(first, at=f"{DAY} 10:05", api=flow.mia)
    ends = {staff: ends_on for staff, _, ends_on in flow.rows(visit)}
    assert ends == {flow.cover.pk: date(2026, 3, 31), flow.supervisor.pk: None}
    version = flow.part(part).version
    signed = flow.sign(second, at="2026-04-01 10:05", api=flow.ruth).json()
    assert (signed["state"], signed["requires_cosignature"]) == ("signed", False)
    row = Participation.objects.get(pk=part)
    assert (row.status, row.minutes, row.version) == ("fulfilled", 45, version)
    assert Visit.objects.get(pk=visit).status == "fulfilled"
    with time_machine.travel(make.at("2026-04-01 11:00"), tick=False):
        shown = flow.ana.get(f"/api/v1/participations/{part}/").json()
    assert set(shown["notes"]) == {first, second}
