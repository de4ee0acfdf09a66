"""Who could be taken for another child: told at check-in, of children in reach only."""

from datetime import date

import pytest
import time_machine

from clinic.enums import EpisodeStatus, Role
from clinic.models import AuditEvent
from tests import factories as make
from tests.scheduling.flow import Flow

pytestmark = pytest.mark.django_db

DAY = "2026-03-31"
BORN = date(2021, 5, 17)  # as factories make a child: Mirela Oduya


@pytest.fixture
def flow():
    return Flow()


def child(flow, given="Teo", family="Oduya", born=BORN, *, team=True, **episode_over):
    """Another child of the site, in Ana's reach unless said otherwise."""
    client = make.make_client(flow.site, given_name=given, family_name=family, birth_date=born)
    episode = make.make_episode(client, **episode_over)
    if team:
        make.put_on_team(flow.assistant, episode)
    return client


def alike(flow, api=None):
    answer = flow.get(f"clients/{flow.child.pk}/look-alikes/", at=f"{DAY} 09:00", api=api)
    assert answer.status_code == 200, answer.content
    return [(row["given_name"], row["same"]) for row in answer.json()["look_alikes"]]


def test_a_twin_is_named_at_check_in(flow):
    """With name and birth date, so that she looks twice; the trail says whom it named."""
    twin = child(flow)
    part = flow.book(f"{DAY} 09:00", at=f"{DAY} 08:00").json()["children"][0]["id"]
    answer = flow.step(part, "check-in", at=f"{DAY} 09:00")
    assert answer.status_code == 200, answer.content
    (row,) = answer.json()["look_alikes"]
    assert row == {
        "client": str(twin.pk),
        "given_name": "Teo",
        "family_name": "Oduya",
        "preferred_name": "",
        "birth_date": "2021-05-17",
        "same": ["birth_date", "family_name"],
    }
    assert set(AuditEvent.objects.latest("at").client_ids) == {flow.child.pk, twin.pk}


def test_nobody_is_named_who_is_not_alike(flow):
    """Another family, another day; nor the child herself."""
    child(flow, "Mirela", "Brandt", date(2020, 1, 1))
    part = flow.book(f"{DAY} 09:00", at=f"{DAY} 08:00").json()["children"][0]["id"]
    assert flow.step(part, "check-in", at=f"{DAY} 09:00").json()["look_alikes"] == []


@pytest.mark.parametrize(
    ("ours", "theirs"),
    [
        pytest.param("Oduya", "ODUYA", id="case"),
        pytest.param("García", "Garcia", id="an accent"),
        pytest.param("Garci\u0301a", "GARCÍA", id="an accent in two characters"),
        pytest.param("Groß", "Gross", id="sharp s"),
        pytest.param("Łukasz", "Lukasz", id="a stroke"),
        pytest.param("O\u2019Neil", "ONeil", id="an apostrophe"),
        pytest.param("Oduya-Brandt", "Oduya Brandt", id="a hyphen"),
        pytest.param("Nguyễn", "Nguyen", id="two marks on a letter"),
    ],
)
def test_how_a_family_name_is_compared(flow, ours, theirs):
    """Not by case, accents, spaces, hyphens or apostrophes."""
    flow.child.family_name = ours
    flow.child.save()
    child(flow, family=theirs, born=date(2019, 2, 3))
    assert alike(flow) == [("Teo", ["family_name"])]


def test_the_most_alike_come_first(flow):
    """The same in all, then twins, then the same birth date or family name."""
    child(flow, "Amara", born=date(2019, 2, 3))
    child(flow, "Bo", "Brandt")
    child(flow, "Teo")
    child(flow, "MIRELA")
    assert alike(flow) == [
        ("MIRELA", ["birth_date", "family_name", "given_name"]),
        ("Teo", ["birth_date", "family_name"]),
        ("Bo", ["birth_date"]),
        ("Amara", ["family_name"]),
    ]


def test_only_children_in_reach_are_named(flow):
    """An assistant learns nothing of a child whom she does not treat; the front desk, who reaches all, is warned."""
    child(flow, team=False)
    assert alike(flow) == []
    _, desk = flow.person("Ilse Marten", Role.FRONT_DESK)
    assert alike(flow, desk) == [("Teo", ["birth_date", "family_name"])]
    other = make.make_organization(name="Elsewhere")
    make.make_episode(make.make_client(make.make_site(other)))
    assert alike(flow, desk) == [("Teo", ["birth_date", "family_name"])]


def test_who_is_treated_no_more_is_not_named(flow):
    """A discharged child does not come to be checked in."""
    child(flow, status=EpisodeStatus.FINISHED.value, closed_on=date(2026, 1, 5))
    assert alike(flow) == []


def test_at_most_ten_are_named(flow):
    """A warning of thirty would be read by nobody."""
    for number in range(12):
        child(flow, f"Teo {number}", born=date(2019, 2, 3))
    assert len(alike(flow)) == 10


def test_a_repeated_check_in_asks_reach_again(flow):
    """Somebody who has left her reach meanwhile is not named a second time."""
    twin = child(flow)
    part = flow.book(f"{DAY} 09:00", at=f"{DAY} 08:00").json()["children"][0]["id"]
    key, version = make.new_id(), flow.part(part).version
    sent = {"HTTP_IDEMPOTENCY_KEY": key, "HTTP_IF_MATCH": f'"{version}"'}
    url = f"/api/v1/participations/{part}/check-in/"
    with time_machine.travel(make.at(f"{DAY} 09:00"), tick=False):
        first = flow.ana.post(url, {}, format="json", **sent)
        assert (first.status_code, len(first.json()["look_alikes"])) == (200, 1)
        assert flow.ana.post(url, {}, format="json", **sent).json() == first.json()
        twin.episodes.get().care_team.all().delete()
        assert flow.ana.post(url, {}, format="json", **sent).status_code == 404
