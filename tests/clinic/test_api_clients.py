"""The children's own records over HTTP: reach, conditional writes, strict input."""

from base64 import b64decode
from urllib.parse import unquote

import pytest

from clinic.enums import Role
from clinic.models import AuditEvent, ChangeFeed, Client
from tests import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def team():
    organization = make.make_organization()
    site = make.make_site(organization)
    child = make.make_client(site)
    episode = make.make_episode(child)
    assistant = make.make_staff(organization, Role.ASSISTANT)
    desk = make.make_staff(organization, Role.FRONT_DESK)
    make.put_on_team(assistant, episode)
    return {"site": site, "child": child, "assistant": assistant, "desk": desk, "organization": organization}


def body(site):
    return {"home_site": str(site.pk), "given_name": "Ilo", "family_name": "Varga", "birth_date": "2022-01-02"}


def test_a_put_creates_once_and_answers_the_same_again(team):
    """Sent twice, a registration makes one child: 201, then 200 with the ETag and nothing written."""
    api, row_id = make.signed_in(team["desk"]), make.new_id()
    first = api.put(f"/api/v1/clients/{row_id}/", body(team["site"]), format="json")
    again = api.put(f"/api/v1/clients/{row_id}/", body(team["site"]), format="json")
    assert (first.status_code, again.status_code) == (201, 200)
    assert first["ETag"] == again["ETag"] == '"1"'
    assert first.json() == again.json()
    assert Client.objects.filter(pk=row_id).count() == 1
    assert ChangeFeed.objects.filter(record_id=row_id).count() == 1


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        pytest.param({}, 428, id="no precondition, other content"),
        pytest.param({"HTTP_IF_MATCH": '"7"'}, 412, id="stale"),
        pytest.param({"HTTP_IF_NONE_MATCH": "*"}, 412, id="create only"),
        pytest.param({"HTTP_IF_MATCH": '"1"'}, 200, id="matching"),
    ],
)
def test_a_put_on_a_row_that_is_there(team, headers, status):
    """What stands there is replaced only by whoever saw it."""
    url = f"/api/v1/clients/{team['child'].pk}/"
    answer = make.signed_in(team["desk"]).put(url, body(team["site"]), format="json", **headers)
    assert answer.status_code == status
    team["child"].refresh_from_db()
    assert team["child"].given_name == ("Ilo" if status == 200 else "Mirela")


def test_if_match_on_a_row_that_is_not_there(team):
    """412, and nothing is made."""
    url = f"/api/v1/clients/{make.new_id()}/"
    answer = make.signed_in(team["desk"]).put(url, body(team["site"]), format="json", HTTP_IF_MATCH='"1"')
    assert answer.status_code == 412
    assert Client.objects.count() == 1


def test_another_organizations_child_does_not_exist(team):
    """Reading, writing and listing answer as if the row were not there."""
    elsewhere = make.make_organization(name="Elsewhere")
    child = make.make_client(make.make_site(elsewhere))
    api, url = make.signed_in(team["desk"]), f"/api/v1/clients/{child.pk}/"
    assert api.get(url).status_code == 404
    assert api.put(url, body(team["site"]), format="json").status_code == 404
    assert [row["id"] for row in api.get("/api/v1/clients/").json()["results"]] == [str(team["child"].pk)]


def test_a_read_leaves_one_event_that_names_the_child(team):
    """Who saw whose record is in the trail before the answer leaves."""
    make.signed_in(team["assistant"]).get(f"/api/v1/clients/{team['child'].pk}/")
    event = AuditEvent.objects.get()
    assert (event.actor_id, event.action, event.outcome) == (team["assistant"].pk, "clients:read", "done")
    assert event.client_ids == [team["child"].pk]


@pytest.mark.parametrize(
    ("change", "pointer", "code"),
    [
        pytest.param({"birth_date": "2999-01-01"}, "/birth_date", "out_of_range", id="far future"),
        pytest.param({"birth_date": "2021-02-30"}, "/birth_date", "invalid", id="impossible date"),
        pytest.param({"given_name": "x" * 100_000}, "/given_name", "too_long", id="100,000 characters"),
        pytest.param({"nickname": "M"}, "/nickname", "unknown_member", id="unknown member"),
        pytest.param({"gestation_weeks": "34"}, "/gestation_weeks", "invalid", id="number as a string"),
    ],
)
def test_a_wrong_member_is_pointed_at(team, change, pointer, code):
    """A clear problem with the member's pointer, and nothing written."""
    row_id = make.new_id()
    answer = make.signed_in(team["desk"]).put(
        f"/api/v1/clients/{row_id}/", {**body(team["site"]), **change}, format="json"
    )
    assert answer.status_code == 400
    assert answer["Content-Type"] == "application/problem+json"
    assert [(e["pointer"], e["code"]) for e in answer.json()["errors"]] == [(pointer, code)]
    assert not Client.objects.filter(pk=row_id).exists()


def test_the_list_pages_both_ways_and_its_cursor_is_bound(team):
    """Cursors lead on and back; one of another filter is refused."""
    for number in range(5):
        make.make_client(team["site"], family_name=f"Family {number}")
    api = make.signed_in(team["desk"])
    first = api.get("/api/v1/clients/?page_size=2").json()
    second = api.get(first["next"]).json()
    third = api.get(second["next"]).json()
    assert third["next"] is None
    assert [len(page["results"]) for page in (first, second, third)] == [2, 2, 2]
    assert api.get(second["previous"]).json()["results"] == first["results"]
    crafted = api.get("/api/v1/clients/?cursor=abc")
    assert (crafted.status_code, crafted.json()["errors"][0]["pointer"]) == (400, "/cursor")
    assert api.get("/api/v1/clients/?page_size=0").status_code == 400
    assert api.get("/api/v1/clients/?colour=red").status_code == 400


def test_a_cursor_shows_nobodys_name(team):
    """A cursor stands in addresses and in proxies' logs: what it holds cannot be read there."""
    make.make_client(team["site"], family_name="Zuberi")
    following = make.signed_in(team["desk"]).get("/api/v1/clients/?page_size=1").json()["next"]
    token = unquote(following.split("cursor=")[1])
    assert team["child"].family_name not in token
    for part in (token, token.split(":")[0]):
        padded = part + "=" * (-len(part) % 4)
        assert team["child"].family_name.encode() not in b64decode(padded, altchars=b"-_")


def test_a_child_without_an_episode_is_there_for_whoever_entered_her(team):
    """A therapist who enters a child finds her again, nobody else does; with an episode, reach decides."""
    entering = make.make_staff(team["organization"], Role.THERAPIST)
    other = make.make_staff(team["organization"], Role.THERAPIST)
    url = f"/api/v1/clients/{make.new_id()}/"
    api = make.signed_in(entering)
    first = api.put(url, body(team["site"]), format="json")
    again = api.put(url, body(team["site"]), format="json")
    assert (first.status_code, again.status_code) == (201, 200)
    assert make.signed_in(other).get(url).status_code == 404
    make.make_episode(Client.objects.get(pk=first.json()["id"]))
    assert api.get(url).status_code == 404
