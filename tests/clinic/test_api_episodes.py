"""Episodes of care over HTTP: planning, steps, reach."""

from datetime import date

import pytest

from clinic.enums import EpisodeStatus, Role, Setting
from clinic.models import AuditEvent, CareTeam, Episode, EpisodeChange
from tests import factories as make
from tests.clinic.asking import cost_of, faults, ids, recorded

pytestmark = pytest.mark.django_db


@pytest.fixture
def team():
    organization = make.make_organization()
    site = make.make_site(organization)
    child = make.make_client(site)
    episode = make.make_episode(child)
    therapist = make.make_staff(organization, Role.THERAPIST)
    assistant = make.make_staff(organization, Role.ASSISTANT)
    administrator = make.make_staff(organization, Role.ADMINISTRATOR)
    make.put_on_team(therapist, episode)
    return {
        "organization": organization,
        "site": site,
        "child": child,
        "episode": episode,
        "therapist": therapist,
        "assistant": assistant,
        "administrator": administrator,
    }


def body(team, **over):
    return {
        "client": str(team["child"].pk),
        "site": str(team["site"].pk),
        "setting": "school",
        "jurisdiction": "US-IL",
        "referred_on": "2026-02-16",
        **over,
    }


def put(team, who="administrator", row_id=None, **over):
    return make.signed_in(team[who]).put(
        f"/api/v1/episodes/{row_id or make.new_id()}/", body(team, **over), format="json"
    )


def step(team, act, body, *, who="administrator", version=1, episode=None):
    url = f"/api/v1/episodes/{(episode or team['episode']).pk}/{act}/"
    return make.signed_in(team[who]).post(url, body, format="json", HTTP_IF_MATCH=f'"{version}"')


@pytest.mark.parametrize(
    ("setting", "regime"),
    [("school", "education_record"), ("home", "health_record"), ("early_intervention", "health_record")],
)
def test_the_setting_decides_the_record(team, setting, regime):
    """A planned episode of a school is an education record; its first change row says planned."""
    answer = put(team, setting=setting)
    assert answer.status_code == 201
    shown = answer.json()
    assert (shown["status"], shown["record_regime"], shown["opened_on"]) == ("planned", regime, None)
    change = EpisodeChange.objects.get(episode_id=shown["id"])
    assert (change.from_status, change.to_status, change.effective_on) == ("", "planned", date(2026, 2, 16))
    assert change.by_id == team["administrator"].pk


def test_a_put_again_answers_the_same(team):
    """Sent twice, one episode with one change."""
    row_id = make.new_id()
    first, again = put(team, row_id=row_id), put(team, row_id=row_id)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    assert EpisodeChange.objects.filter(episode_id=row_id).count() == 1


def test_whoever_plans_by_treating_stands_on_the_team(team):
    """The therapist reaches what she made; the administrator needs no place."""
    mine = put(team, "therapist").json()
    assert CareTeam.objects.get(episode_id=mine["id"]).staff_id == team["therapist"].pk
    theirs = put(team, setting="home").json()
    assert not CareTeam.objects.filter(episode_id=theirs["id"]).exists()


def test_a_second_open_episode_of_one_setting_is_refused(team):
    """409 with a code of its own, and nothing is written."""
    before = recorded(), EpisodeChange.objects.count()
    answer = put(team, setting="outpatient")
    assert (answer.status_code, answer.json()["code"]) == (409, "episode_already_open")
    assert (recorded(), EpisodeChange.objects.count()) == before
    assert Episode.objects.count() == 1


@pytest.mark.parametrize(
    ("change", "status", "fault"),
    [
        pytest.param({"jurisdiction": "Illinois"}, 400, ("/jurisdiction", "too_long"), id="a name for a code"),
        pytest.param({"jurisdiction": "us-il"}, 400, ("/jurisdiction", "invalid"), id="small letters"),
        pytest.param({"setting": "hospital"}, 400, ("/setting", "invalid_choice"), id="unknown setting"),
        pytest.param({"status": "active"}, 400, ("/status", "unknown_member"), id="status is no member"),
        pytest.param({"referred_on": "2199-01-01"}, 400, ("/referred_on", "in_the_future"), id="future referral"),
        pytest.param({"client": make.new_id()}, 422, ("/client", "not_found"), id="unknown child"),
        pytest.param({"site": make.new_id()}, 422, ("/site", "not_found"), id="unknown site"),
    ],
)
def test_a_wrong_member_is_pointed_at(team, change, status, fault):
    """A clear problem with the member's pointer, and nothing written."""
    before = recorded()
    answer = put(team, **change)
    assert (answer.status_code, faults(answer)) == (status, [fault])
    assert (Episode.objects.count(), recorded()) == (1, before)


def test_a_therapist_plans_for_children_in_her_reach_only(team):
    """Another child of the organization is not found, and the assistant plans nothing."""
    stranger = make.make_client(team["site"])
    assert faults(put(team, "therapist", client=str(stranger.pk))) == [("/client", "not_found")]
    assert put(team, "assistant").status_code == 403
    assert Episode.objects.count() == 1


def test_the_steps_from_plan_to_discharge(team):
    """Each step moves status and version and leaves its change row; discharge closes."""
    made = put(team)
    episode = Episode.objects.get(pk=made.json()["id"])
    steps = [
        ("open", {"on": "2026-02-24"}, "active"),
        ("hold", {"on": "2026-03-02", "reason": "Abroad"}, "onhold"),
        ("resume", {"on": "2026-03-20"}, "active"),
        ("discharge", {"on": "2026-04-01", "reason": "Goals met"}, "finished"),
    ]
    for version, (act, asked, status) in enumerate(steps, start=1):
        answer = step(team, act, asked, version=version, episode=episode)
        assert (answer.status_code, answer.json()["status"]) == (200, status)
        assert answer["ETag"] == f'"{version + 1}"'
    shown = answer.json()
    assert (shown["opened_on"], shown["closed_on"]) == ("2026-02-24", "2026-04-01")
    told = (
        EpisodeChange.objects.filter(episode=episode).order_by("id").values_list("from_status", "to_status", "reason")
    )
    assert list(told) == [
        ("", "planned", ""),
        ("planned", "active", ""),
        ("active", "onhold", "Abroad"),
        ("onhold", "active", ""),
        ("active", "finished", "Goals met"),
    ]


def test_a_step_that_the_status_does_not_allow(team):
    """409 names what is allowed; a finished episode allows nothing."""
    before = recorded()
    answer = step(team, "open", {"on": "2026-02-24"})
    assert (answer.status_code, answer.json()["code"]) == (409, "act_not_allowed")
    assert answer.json()["allowed_actions"] == ["hold", "discharge"]
    assert (recorded(), EpisodeChange.objects.count()) == (before, 0)
    ended = make.make_episode(
        make.make_client(team["site"]), status=EpisodeStatus.FINISHED.value, closed_on=date(2026, 1, 1)
    )
    answer = step(team, "resume", {"on": "2026-02-24"}, episode=ended)
    assert (answer.status_code, answer.json()["allowed_actions"]) == (409, [])


@pytest.mark.parametrize(
    ("on", "code"),
    [("2199-01-01", "in_the_future"), ("2024-12-31", "before_last_change")],
)
def test_a_step_on_a_day_that_cannot_be(team, on, code):
    """422 points at the day, and the episode stays as it is."""
    answer = step(team, "hold", {"on": on, "reason": "Abroad"})
    assert (answer.status_code, faults(answer)) == (422, [("/on", code)])
    team["episode"].refresh_from_db()
    assert (team["episode"].status, team["episode"].version) == ("active", 1)


def test_a_step_needs_the_version_and_a_reason(team):
    """428 without If-Match, 412 when stale, 400 without a reason."""
    url = f"/api/v1/episodes/{team['episode'].pk}/hold/"
    asked = {"on": "2026-02-24", "reason": "Abroad"}
    api = make.signed_in(team["administrator"])
    assert api.post(url, asked, format="json").status_code == 428
    assert api.post(url, asked, format="json", HTTP_IF_MATCH='"9"').status_code == 412
    short = api.post(url, {"on": "2026-02-24"}, format="json", HTTP_IF_MATCH='"1"')
    assert (short.status_code, faults(short)) == (400, [("/reason", "required")])
    assert EpisodeChange.objects.count() == 0


def test_a_step_repeated_under_its_key_happens_once(team):
    """The stored answer comes back although the version has moved on."""
    url = f"/api/v1/episodes/{team['episode'].pk}/hold/"
    api = make.signed_in(team["administrator"])
    asked = {"on": "2026-02-24", "reason": "Abroad"}
    sent = {"format": "json", "HTTP_IF_MATCH": '"1"', "HTTP_IDEMPOTENCY_KEY": make.new_id()}
    first, again = api.post(url, asked, **sent), api.post(url, asked, **sent)
    assert (first.status_code, again.status_code, again["Idempotency-Replayed"]) == (200, 200, "true")
    assert first.json() == again.json()
    assert EpisodeChange.objects.count() == 1


def test_the_payer_changes_and_the_setting_does_not(team):
    """PATCH moves the version on; a PUT that would move the child to another setting is refused."""
    url = f"/api/v1/episodes/{team['episode'].pk}/"
    api = make.signed_in(team["therapist"])
    changed = api.patch(url, {"payer": "Family"}, format="json", HTTP_IF_MATCH='"1"')
    assert (changed.status_code, changed.json()["payer"], changed["ETag"]) == (200, "Family", '"2"')
    assert api.patch(url, {"setting": "school"}, format="json", HTTP_IF_MATCH='"2"').status_code == 400
    moved = api.put(url, body(team, setting="school"), format="json", HTTP_IF_MATCH='"2"')
    assert (moved.status_code, faults(moved)) == (422, [("/setting", "fixed")])
    team["episode"].refresh_from_db()
    assert (team["episode"].setting, team["episode"].version) == ("outpatient", 2)


def test_another_episode_of_the_same_child_is_out_of_reach(team):
    """Reach to one episode does not open the other, neither to read, nor to change, nor in the list."""
    school = make.make_episode(team["child"], setting=Setting.SCHOOL.value, record_regime="education_record")
    api = make.signed_in(team["therapist"])
    assert api.get(f"/api/v1/episodes/{school.pk}/").status_code == 404
    assert step(team, "hold", {"on": "2026-02-24", "reason": "x"}, who="therapist", episode=school).status_code == 404
    assert api.put(f"/api/v1/episodes/{school.pk}/", body(team), format="json").status_code == 404
    assert ids(api.get("/api/v1/episodes/")) == [str(team["episode"].pk)]
    assert EpisodeChange.objects.count() == 0


def test_another_organizations_episode_does_not_exist(team):
    """Not even for an administrator."""
    elsewhere = make.make_episode(make.make_client(make.make_site(make.make_organization(name="Elsewhere"))))
    api = make.signed_in(team["administrator"])
    assert api.get(f"/api/v1/episodes/{elsewhere.pk}/").status_code == 404
    assert api.get(f"/api/v1/episodes/?client={elsewhere.client_id}").json()["results"] == []


def test_the_list_is_filtered_and_told(team):
    """By client, status and setting; the trail names child and episode."""
    held = make.make_episode(
        make.make_client(team["site"]), status=EpisodeStatus.ON_HOLD.value, setting=Setting.HOME.value
    )
    api = make.signed_in(team["administrator"])
    for query in (f"client={held.client_id}", "status=onhold", "setting=home"):
        assert ids(api.get(f"/api/v1/episodes/?{query}")) == [str(held.pk)]
    event = AuditEvent.objects.order_by("-id").first()
    assert event.touched == [(held.client_id, held.pk)]
    assert api.get("/api/v1/episodes/?status=open").status_code == 400


def test_the_list_costs_the_same_for_one_and_for_six(team):
    api = make.signed_in(team["administrator"])
    one, cost = cost_of(api, "/api/v1/episodes/")
    for _ in range(5):
        make.make_episode(make.make_client(team["site"]))
    assert (one, cost_of(api, "/api/v1/episodes/")) == (1, (6, cost))
