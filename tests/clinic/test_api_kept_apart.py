"""Episodes of one child are kept apart: the clinic's people see nothing of the school's record, nor of another's."""

import pytest

from clinic.enums import RecordRegime, Role, Setting
from clinic.models import Episode, Notice
from tests import factories as make

pytestmark = pytest.mark.django_db
BELOW_AN_EPISODE = ("care-team", "consents", "documents", "episode-diagnoses", "episodes")


@pytest.fixture
def child():
    """Treated by Ruth at the school, and by Sol in the clinic at the same site."""
    organization = make.make_organization()
    site = make.make_site(organization)
    client = make.make_client(site)
    school = make.make_episode(client, setting=Setting.SCHOOL.value, record_regime=RecordRegime.EDUCATION.value)
    clinic = make.make_episode(client)
    people = {name: make.make_staff(organization, Role.THERAPIST) for name in ("ruth", "sol")}
    make.put_on_team(people["ruth"], school)
    make.put_on_team(people["sol"], clinic)
    administrator = make.make_staff(organization, Role.ADMINISTRATOR)
    return {"client": client, "site": site, "school": school, "clinic": clinic, "iris": administrator, **people}


def plan(staff, child, episode_id=None, **over):
    body = {
        "client": str(child["client"].pk),
        "site": str(child["site"].pk),
        "setting": "outpatient",
        "jurisdiction": "US-IL",
        **over,
    }
    return make.signed_in(staff).put(f"/api/v1/episodes/{episode_id or make.new_id()}/", body, format="json")


@pytest.mark.parametrize(("who", "hers", "other"), [("ruth", "school", "clinic"), ("sol", "clinic", "school")])
def test_each_sees_her_own_episode_of_the_child(child, who, hers, other):
    """The child is one; the other record's episode and team are not there."""
    api = make.signed_in(child[who])
    assert api.get(f"/api/v1/clients/{child['client'].pk}/").status_code == 200
    assert [row["id"] for row in api.get("/api/v1/episodes/").json()["results"]] == [str(child[hers].pk)]
    assert [row["episode"] for row in api.get("/api/v1/care-team/").json()["results"]] == [str(child[hers].pk)]
    assert api.get(f"/api/v1/episodes/{child[other].pk}/").status_code == 404


def test_planning_tells_nothing_of_an_episode_that_she_cannot_see(child):
    """Ruth plans a clinic episode as if there were none; the administrator learns that now there are two."""
    beside, alone = make.new_id(), make.new_id()
    told = plan(child["ruth"], child, beside)
    assert told.status_code == 201
    assert [row.subject_id for row in Notice.objects.filter(recipient=child["iris"])] == [Episode.objects.last().pk]

    nowhere = make.make_site(child["site"].organization)
    apart = plan(child["ruth"], child, alone, site=str(nowhere.pk))
    same = told.content.replace(beside.encode(), b"").replace(str(child["site"].pk).encode(), b"")
    assert same == apart.content.replace(alone.encode(), b"").replace(str(nowhere.pk).encode(), b"")
    assert dict(told.headers).keys() == dict(apart.headers).keys()
    assert Notice.objects.count() == 1


def test_a_second_one_that_she_can_see_is_refused(child):
    """To Sol, who treats in the first, to the administrator, and to Ruth once one of hers is open."""
    plan(child["ruth"], child)
    for who in ("sol", "iris", "ruth"):
        answer = plan(child[who], child)
        assert (answer.status_code, answer.json()["code"]) == (409, "episode_already_open")
    assert Episode.objects.count() == 3
