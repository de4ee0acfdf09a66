"""Care teams over HTTP: who is put on them, for how long, and whom they let reach what."""

from datetime import date

import pytest

from clinic.enums import CareSource, Role
from clinic.models import CareTeam
from tests import factories as make
from tests.clinic.asking import cost_of, faults, ids, recorded

pytestmark = pytest.mark.django_db


@pytest.fixture
def team():
    organization = make.make_organization()
    site = make.make_site(organization)
    episode = make.make_episode(make.make_client(site))
    therapist = make.make_staff(organization, Role.THERAPIST)
    place = make.put_on_team(therapist, episode)
    return {
        "organization": organization,
        "site": site,
        "episode": episode,
        "therapist": therapist,
        "place": place,
        "assistant": make.make_staff(organization, Role.ASSISTANT),
        "desk": make.make_staff(organization, Role.FRONT_DESK),
        "administrator": make.make_staff(organization, Role.ADMINISTRATOR),
    }


def put(team, who="therapist", row_id=None, **over):
    asked = {
        "episode": str(team["episode"].pk),
        "staff": str(team["assistant"].pk),
        "starts_on": "2026-02-24",
        **over,
    }
    return make.signed_in(team[who]).put(f"/api/v1/care-team/{row_id or make.new_id()}/", asked, format="json")


def test_a_place_opens_the_record(team):
    """Before it the assistant finds nothing, after it the episode."""
    url = f"/api/v1/episodes/{team['episode'].pk}/"
    assert make.signed_in(team["assistant"]).get(url).status_code == 404
    answer = put(team)
    assert (answer.status_code, answer.json()["source"], answer.json()["role"]) == (201, "assigned", "treating")
    assert make.signed_in(team["assistant"]).get(url).status_code == 200


def test_an_ended_place_closes_it(team):
    """The last day still counts; the day after, the record is out of reach."""
    place = make.put_on_team(team["assistant"], team["episode"])
    api = make.signed_in(team["therapist"])
    answer = api.patch(f"/api/v1/care-team/{place.pk}/", {"ends_on": "2025-06-30"}, format="json", HTTP_IF_MATCH='"1"')
    assert (answer.status_code, answer.json()["ends_on"], answer["ETag"]) == (200, "2025-06-30", '"2"')
    assert make.signed_in(team["assistant"]).get(f"/api/v1/episodes/{team['episode'].pk}/").status_code == 404


def test_overlapping_places_are_refused(team):
    """409 with a code of its own; one that follows is taken."""
    put(team, ends_on="2026-03-31")
    before = recorded()
    answer = put(team, starts_on="2026-03-31")
    assert (answer.status_code, answer.json()["code"]) == (409, "care_team_overlaps")
    assert recorded() == before
    assert put(team, starts_on="2026-04-01").status_code == 201


@pytest.mark.parametrize(
    ("change", "status", "fault"),
    [
        pytest.param({"staff": make.new_id()}, 422, ("/staff", "not_found"), id="nobody"),
        pytest.param({"episode": make.new_id()}, 422, ("/episode", "not_found"), id="no episode"),
        pytest.param({"starts_on": "2024-01-01"}, 422, ("/staff", "role_not_held"), id="before her role"),
        pytest.param({"ends_on": "2026-02-23"}, 400, ("/ends_on", "before_start"), id="ends before it starts"),
        pytest.param({"source": "booking"}, 400, ("/source", "unknown_member"), id="a booking's place"),
    ],
)
def test_a_wrong_member_is_pointed_at(team, change, status, fault):
    """A clear problem with the member's pointer, and nothing written."""
    before = recorded()
    answer = put(team, **change)
    assert (answer.status_code, faults(answer)) == (status, [fault])
    assert (CareTeam.objects.count(), recorded()) == (1, before)


def test_only_those_who_treat_stand_on_a_team(team):
    """The front desk is refused as a member, and as the one who writes."""
    assert faults(put(team, staff=str(team["desk"].pk))) == [("/staff", "role_not_held")]
    assert put(team, "desk").status_code == 403
    assert put(team, "assistant").status_code == 403
    assert CareTeam.objects.count() == 1


def test_nobody_stays_on_a_team_beyond_her_last_day(team):
    """A place without an end, or with a later one, is refused once the last day is known."""
    team["assistant"].left_on = date(2026, 3, 31)
    team["assistant"].save()
    assert faults(put(team)) == [("/ends_on", "beyond_last_day")]
    assert faults(put(team, starts_on="2026-04-01")) == [("/starts_on", "beyond_last_day")]
    assert put(team, ends_on="2026-03-31").status_code == 201


def test_a_place_that_a_booking_made_follows_the_booking(team):
    """It cannot be ended here."""
    place = make.put_on_team(
        team["assistant"], team["episode"], source=CareSource.BOOKING.value, source_id=make.new_id()
    )
    answer = make.signed_in(team["therapist"]).patch(
        f"/api/v1/care-team/{place.pk}/", {"ends_on": "2026-03-31"}, format="json", HTTP_IF_MATCH='"1"'
    )
    assert (answer.status_code, answer.json()["code"]) == (409, "made_by_booking")


def test_another_episodes_team_is_out_of_reach(team):
    """Neither shown, nor changed, nor joined by a therapist who does not treat there."""
    other = make.make_episode(make.make_client(team["site"]))
    place = make.put_on_team(team["assistant"], other)
    api, url = make.signed_in(team["therapist"]), f"/api/v1/care-team/{place.pk}/"
    assert api.get(url).status_code == 404
    assert api.patch(url, {"ends_on": None}, format="json", HTTP_IF_MATCH='"1"').status_code == 404
    assert faults(put(team, episode=str(other.pk))) == [("/episode", "not_found")]
    assert ids(api.get("/api/v1/care-team/")) == [str(team["place"].pk)]


def test_another_organizations_team_does_not_exist(team):
    elsewhere = make.make_organization(name="Elsewhere")
    episode = make.make_episode(make.make_client(make.make_site(elsewhere)))
    stranger = make.make_staff(elsewhere, Role.ASSISTANT)
    place = make.put_on_team(stranger, episode)
    api = make.signed_in(team["administrator"])
    assert api.get(f"/api/v1/care-team/{place.pk}/").status_code == 404
    assert faults(put(team, "administrator", staff=str(stranger.pk))) == [("/staff", "not_found")]


def test_the_list_is_filtered(team):
    """By episode, by person, by day."""
    past = make.put_on_team(team["assistant"], team["episode"], ends_on=date(2025, 6, 30))
    api = make.signed_in(team["administrator"])
    assert ids(api.get(f"/api/v1/care-team/?staff={team['assistant'].pk}")) == [str(past.pk)]
    assert ids(api.get(f"/api/v1/care-team/?episode={team['episode'].pk}&on=2026-01-01")) == [str(team["place"].pk)]
    assert api.get("/api/v1/care-team/?on=yesterday").status_code == 400


def test_the_list_costs_the_same_for_one_and_for_six(team):
    api = make.signed_in(team["administrator"])
    one, cost = cost_of(api, "/api/v1/care-team/")
    for _ in range(5):
        make.put_on_team(team["assistant"], make.make_episode(make.make_client(team["site"])))
    assert (one, cost_of(api, "/api/v1/care-team/")) == (1, (6, cost))
