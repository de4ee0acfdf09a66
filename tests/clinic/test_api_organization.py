"""The organization, its sites and its rooms over HTTP."""

import pytest

from clinic.enums import Role
from clinic.models import Organization, Room, Site
from tests import factories as make
from tests.clinic.asking import cost_of, faults, ids, recorded

pytestmark = pytest.mark.django_db


@pytest.fixture
def team():
    organization = make.make_organization()
    return {
        "organization": organization,
        "site": make.make_site(organization, name="North"),
        "administrator": make.make_staff(organization, Role.ADMINISTRATOR),
        "therapist": make.make_staff(organization, Role.THERAPIST),
    }


PLACE = {"name": "South", "time_zone": "America/Phoenix", "country": "US", "subdivision": "AZ"}


def put(team, path, asked, who="administrator", row_id=None):
    return make.signed_in(team[who]).put(f"/api/v1/{path}/{row_id or make.new_id()}/", asked, format="json")


def patch(team, path, asked, who="administrator", version=1):
    return make.signed_in(team[who]).patch(f"/api/v1/{path}/", asked, format="json", HTTP_IF_MATCH=f'"{version}"')


def test_the_terms_are_read_by_all_and_changed_by_the_administrator(team):
    """Under the ETag; an unchanged read answers 304."""
    api = make.signed_in(team["therapist"])
    shown = api.get("/api/v1/organization/")
    assert (shown.status_code, shown["ETag"], shown.json()["cosign_within_days"]) == (200, '"1"', 7)
    assert api.get("/api/v1/organization/", HTTP_IF_NONE_MATCH='"1"').status_code == 304
    assert patch(team, "organization", {"cosign_within_days": 10}, "therapist").status_code == 403
    changed = patch(team, "organization", {"cosign_within_days": 10})
    assert (changed.status_code, changed.json()["cosign_within_days"], changed["ETag"]) == (200, 10, '"2"')
    assert patch(team, "organization", {"cosign_within_days": 11}).status_code == 412
    assert Organization.objects.get().cosign_within_days == 10


@pytest.mark.parametrize(
    ("change", "fault"),
    [
        pytest.param({"time_zone": "Mars/Olympus"}, ("/time_zone", "unknown_time_zone"), id="zone"),
        pytest.param({"country": "USA"}, ("/country", "too_long"), id="country"),
        pytest.param({"cosign_within_days": -1}, ("/cosign_within_days", "min_value"), id="negative"),
        pytest.param({"cosignature_required": "yes"}, ("/cosignature_required", "invalid"), id="flag"),
        pytest.param({"colour": "red"}, ("/colour", "unknown_member"), id="unknown"),
    ],
)
def test_a_wrong_term_is_pointed_at(team, change, fault):
    answer = patch(team, "organization", change)
    assert (answer.status_code, faults(answer)) == (400, [fault])
    assert Organization.objects.get().version == 1


def test_sites_bear_different_names(team):
    """Entered, renamed; a name twice is refused both times."""
    made = put(team, "sites", PLACE)
    assert made.status_code == 201
    before = recorded()
    twice = put(team, "sites", PLACE)
    assert (twice.status_code, twice.json()["code"]) == (409, "site_name_taken")
    renamed = patch(team, f"sites/{made.json()['id']}", {"name": "North"})
    assert (renamed.status_code, renamed.json()["code"]) == (409, "site_name_taken")
    assert (recorded(), Site.objects.count()) == (before, 2)
    assert patch(team, f"sites/{made.json()['id']}", {"name": "West"}).json()["time_zone"] == "America/Phoenix"
    names = [row["name"] for row in make.signed_in(team["therapist"]).get("/api/v1/sites/").json()["results"]]
    assert names == ["North", "West"]


def test_rooms_stay_at_their_site(team):
    """Names are told apart within a site; places may change, the site may not."""
    room = {"site": str(team["site"].pk), "name": "Swing room", "places": 2}
    made = put(team, "rooms", room)
    assert made.status_code == 201
    twice = put(team, "rooms", room)
    assert (twice.status_code, twice.json()["code"]) == (409, "room_name_taken")
    other = make.make_site(team["organization"])
    assert put(team, "rooms", {**room, "site": str(other.pk)}).status_code == 201
    url = f"rooms/{made.json()['id']}"
    assert patch(team, url, {"places": 3}).json()["places"] == 3
    assert faults(patch(team, url, {"places": 0}, version=2)) == [("/places", "min_value")]
    moved = make.signed_in(team["administrator"]).put(
        f"/api/v1/{url}/", {**room, "site": str(other.pk)}, format="json", HTTP_IF_MATCH='"2"'
    )
    assert (moved.status_code, faults(moved)) == (422, [("/site", "fixed")])
    shown = make.signed_in(team["therapist"]).get(f"/api/v1/rooms/?site={team['site'].pk}")
    assert ids(shown) == [made.json()["id"]]


def test_only_the_administrator_enters_places(team):
    assert put(team, "sites", PLACE, "therapist").status_code == 403
    assert put(team, "rooms", {"site": str(team["site"].pk), "name": "Gym"}, "therapist").status_code == 403
    assert (Site.objects.count(), Room.objects.count()) == (1, 0)


def test_another_organizations_places_do_not_exist(team):
    """Neither to read, nor to replace, nor to put a room there."""
    site = make.make_site(make.make_organization(name="Elsewhere"))
    room = make.make_room(site)
    api = make.signed_in(team["administrator"])
    assert api.get(f"/api/v1/sites/{site.pk}/").status_code == 404
    assert api.get(f"/api/v1/rooms/{room.pk}/").status_code == 404
    assert put(team, "sites", PLACE, row_id=site.pk).status_code == 404
    answer = put(team, "rooms", {"site": str(site.pk), "name": "Gym"})
    assert (answer.status_code, faults(answer)) == (422, [("/site", "not_found")])
    assert ids(api.get("/api/v1/sites/")) == [str(team["site"].pk)]


@pytest.mark.parametrize("path", ["sites", "rooms"])
def test_the_lists_cost_the_same_for_one_and_for_six(team, path):
    api = make.signed_in(team["therapist"])
    make.make_room(team["site"])
    one, cost = cost_of(api, f"/api/v1/{path}/")
    for _ in range(5):
        make.make_room(make.make_site(team["organization"]))
    assert (one, cost_of(api, f"/api/v1/{path}/")) == (1, (6, cost))
