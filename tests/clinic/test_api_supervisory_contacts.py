"""Contacts of supervisors and assistants over HTTP: facts, recorded by one of the two, kept as they are."""

import pytest

from clinic.enums import Role
from clinic.models import AuditEvent, SupervisoryContact, SupervisoryContactClient
from tests import factories as make
from tests.clinic.asking import cost_of, faults, ids, recorded

pytestmark = pytest.mark.django_db


@pytest.fixture
def team():
    organization = make.make_organization()
    site = make.make_site(organization)
    found = {
        "organization": organization,
        "site": site,
        "episode": make.make_episode(make.make_client(site)),
        "other": make.make_episode(make.make_client(site)),
        "assistant": make.make_staff(organization, Role.ASSISTANT),
        "therapist": make.make_staff(organization, Role.THERAPIST),
        "stranger": make.make_staff(organization, Role.THERAPIST),
        "administrator": make.make_staff(organization, Role.ADMINISTRATOR),
        "desk": make.make_staff(organization, Role.FRONT_DESK),
    }
    make.put_on_team(found["assistant"], found["episode"])
    make.make_supervision(found["assistant"], found["therapist"])
    return found


def put(team, who="assistant", row_id=None, headers=None, **over):
    asked = {
        "assistant": str(team["assistant"].pk),
        "supervisor": str(team["therapist"].pk),
        "service_date": "2026-03-05",
        "medium": "in_person",
        "minutes": 30,
        "activity": "Watched a session",
        "clients": [{"episode": str(team["episode"].pk), "discussed": True, "present": True}],
        **over,
    }
    return make.signed_in(team[who]).put(
        f"/api/v1/supervisory-contacts/{row_id or make.new_id()}/", asked, format="json", **(headers or {})
    )


def test_a_contact_is_recorded_with_whom_it_was_about(team):
    """Sent twice it is one; the trail names the child."""
    row_id = make.new_id()
    first, again = put(team, row_id=row_id), put(team, row_id=row_id)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    episode = team["episode"]
    assert first.json()["clients"] == [
        {
            "client": str(episode.client_id),
            "episode": str(episode.pk),
            "discussed": True,
            "present": True,
            "seen_by_therapist": False,
        }
    ]
    assert first.json()["recorded_by"] == str(team["assistant"].pk)
    assert (SupervisoryContact.objects.count(), SupervisoryContactClient.objects.count()) == (1, 1)
    event = AuditEvent.objects.order_by("id").first()
    assert event.touched == [(episode.client_id, episode.pk)]


def test_either_of_the_two_records_and_nobody_else(team):
    """The supervisor reaches the assistant's clients; a third person had no part in it."""
    assert put(team, "therapist").status_code == 201
    third = put(team, "stranger")
    assert (third.status_code, third.json()["code"]) == (403, "not_a_party")
    assert [put(team, who).status_code for who in ("administrator", "desk")] == [403, 403]
    assert SupervisoryContact.objects.count() == 1


@pytest.mark.parametrize(
    ("change", "status", "fault"),
    [
        pytest.param({"supervisor": "assistant"}, 422, ("/supervisor", "same_person"), id="with herself"),
        pytest.param({"supervisor": "desk"}, 422, ("/supervisor", "role_not_held"), id="with the desk"),
        pytest.param({"supervisor": make.new_id()}, 422, ("/supervisor", "not_found"), id="with nobody"),
        pytest.param({"service_date": "2024-12-31"}, 422, ("/assistant", "role_not_held"), id="before her role"),
        pytest.param({"service_date": "2199-01-01"}, 400, ("/service_date", "in_the_future"), id="in the future"),
        pytest.param({"minutes": 0}, 400, ("/minutes", "min_value"), id="no time"),
        pytest.param({"medium": "letter"}, 400, ("/medium", "invalid_choice"), id="no such medium"),
        pytest.param({"direct": True}, 400, ("/direct", "unknown_member"), id="a judgement"),
        pytest.param({"clients": "none"}, 400, ("/clients", "not_a_list"), id="no list"),
    ],
)
def test_a_wrong_member_is_pointed_at(team, change, status, fault):
    before = recorded()
    answer = put(team, **{name: str(team[v].pk) if v in team else v for name, v in change.items()})
    assert (answer.status_code, faults(answer)) == (status, [fault])
    assert (SupervisoryContact.objects.count(), recorded()) == (0, before)


def test_the_clients_are_in_reach_named_once_and_had_a_part(team):
    """Each fault points at the item; nothing is written."""
    mine, other = str(team["episode"].pk), str(team["other"].pk)
    part = {"discussed": True}
    unreached = put(team, clients=[{"episode": mine, **part}, {"episode": other, **part}])
    assert (unreached.status_code, faults(unreached)) == (422, [("/clients/1/episode", "not_found")])
    twice = put(team, clients=[{"episode": mine, **part}] * 2)
    assert (twice.status_code, faults(twice)) == (400, [("/clients", "doubled")])
    idle = put(team, clients=[{"episode": mine, "present": False}])
    assert (idle.status_code, faults(idle)) == (400, [("/clients/0", "no_part")])
    assert SupervisoryContact.objects.count() == 0


def test_a_contact_stays_as_it_was_recorded(team):
    """Under the right version the same content is answered, another is refused."""
    row_id = put(team).json()["id"]
    match = {"HTTP_IF_MATCH": '"1"'}
    assert put(team, row_id=row_id, headers=match).status_code == 200
    longer = put(team, row_id=row_id, headers=match, minutes=60)
    assert (longer.status_code, faults(longer)) == (422, [("/minutes", "fixed")])
    fewer = put(team, row_id=row_id, headers=match, clients=[])
    assert (fewer.status_code, faults(fewer)) == (422, [("/clients", "fixed")])
    assert SupervisoryContact.objects.get().minutes == 30


def test_who_sees_a_contact(team):
    """Those who had it, and the administrator; for another therapist it is not there."""
    row_id = put(team).json()["id"]
    statuses = {
        who: make.signed_in(team[who]).get(f"/api/v1/supervisory-contacts/{row_id}/").status_code
        for who in ("assistant", "therapist", "stranger", "administrator", "desk")
    }
    assert statuses == {"assistant": 200, "therapist": 200, "stranger": 404, "administrator": 200, "desk": 403}
    assert ids(make.signed_in(team["stranger"]).get("/api/v1/supervisory-contacts/")) == []
    listed = make.signed_in(team["administrator"]).get(
        f"/api/v1/supervisory-contacts/?assistant={team['assistant'].pk}&supervisor={team['therapist'].pk}"
    )
    assert ids(listed) == [row_id]


def test_another_organizations_contact_does_not_exist(team):
    row_id = put(team).json()["id"]
    stranger = make.make_staff(make.make_organization(name="Elsewhere"), Role.ADMINISTRATOR, Role.THERAPIST)
    assert make.signed_in(stranger).get(f"/api/v1/supervisory-contacts/{row_id}/").status_code == 404
    assert put({**team, "assistant": stranger}, row_id=row_id).status_code == 404


def test_the_list_costs_the_same_for_one_and_for_six(team):
    api = make.signed_in(team["administrator"])
    put(team)
    one, cost = cost_of(api, "/api/v1/supervisory-contacts/")
    for _ in range(5):
        put(team)
    assert (one, cost_of(api, "/api/v1/supervisory-contacts/")) == (1, (6, cost))
