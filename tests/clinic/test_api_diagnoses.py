"""Diagnoses of episodes over HTTP: the first day decides, the front desk sees none."""

from datetime import date

import pytest

from clinic.enums import Role, Setting
from clinic.models import DiagnosisCode, EpisodeDiagnosis
from tests import factories as make
from tests.clinic.asking import cost_of, faults, ids, recorded

pytestmark = pytest.mark.django_db


@pytest.fixture
def team():
    organization = make.make_organization()
    site = make.make_site(organization)
    child = make.make_client(site)
    found = {
        "organization": organization,
        "site": site,
        "episode": make.make_episode(child),
        "school": make.make_episode(child, setting=Setting.SCHOOL.value, record_regime="education_record"),
        "therapist": make.make_staff(organization, Role.THERAPIST),
        "assistant": make.make_staff(organization, Role.ASSISTANT),
        "administrator": make.make_staff(organization, Role.ADMINISTRATOR),
        "desk": make.make_staff(organization, Role.FRONT_DESK),
    }
    for who in ("therapist", "assistant"):
        make.put_on_team(found[who], found["episode"])
    for code, billable, valid_from, valid_until in (
        ("F84", False, date(2015, 10, 1), None),
        ("F84.0", True, date(2015, 10, 1), None),
        ("F82", True, date(2015, 10, 1), date(2026, 3, 31)),
        ("R63.32", True, date(2026, 4, 1), None),
    ):
        DiagnosisCode.objects.create(
            code=code, title=code, billable=billable, valid_from=valid_from, valid_until=valid_until
        )
    return found


def put(team, who="therapist", row_id=None, **over):
    asked = {"episode": str(team["episode"].pk), "code": "F84.0", "starts_on": "2026-02-24", **over}
    return make.signed_in(team[who]).put(f"/api/v1/episode-diagnoses/{row_id or make.new_id()}/", asked, format="json")


def test_a_code_is_kept_in_capitals(team):
    """Typed in small letters it is the same code, and overlaps itself."""
    made = put(team, code="f84.0")
    assert (made.status_code, made.json()["code"], made.json()["rank"]) == (201, "F84.0", 1)
    before = recorded()
    twice = put(team, starts_on="2026-03-01")
    assert (twice.status_code, twice.json()["code"]) == (409, "diagnosis_overlaps")
    assert (EpisodeDiagnosis.objects.count(), recorded()) == (1, before)


@pytest.mark.parametrize(
    ("change", "status", "fault"),
    [
        pytest.param({"code": "F840"}, 422, ("/code", "malformed"), id="without its point"),
        pytest.param({"code": "F84.9"}, 422, ("/code", "unknown"), id="not in the table"),
        pytest.param({"code": "F84"}, 422, ("/code", "not_billable"), id="a category"),
        pytest.param({"code": "R63.32"}, 422, ("/code", "not_yet_valid"), id="a later release"),
        pytest.param({"code": "F82", "starts_on": "2026-04-01"}, 422, ("/code", "expired"), id="ended"),
        pytest.param({"episode": make.new_id()}, 422, ("/episode", "not_found"), id="no episode"),
        pytest.param({"rank": 0}, 400, ("/rank", "min_value"), id="rank from one"),
        pytest.param({"ends_on": "2026-02-23"}, 400, ("/ends_on", "before_start"), id="days"),
    ],
)
def test_a_wrong_member_is_pointed_at(team, change, status, fault):
    """The first day decides, and nothing is written."""
    before = recorded()
    answer = put(team, **change)
    assert (answer.status_code, faults(answer)) == (status, [fault])
    assert (EpisodeDiagnosis.objects.count(), recorded()) == (0, before)


def test_a_diagnosis_ends(team):
    row_id = put(team).json()["id"]
    answer = make.signed_in(team["therapist"]).patch(
        f"/api/v1/episode-diagnoses/{row_id}/", {"ends_on": "2026-05-31"}, format="json", HTTP_IF_MATCH='"1"'
    )
    assert (answer.status_code, answer.json()["ends_on"], answer["ETag"]) == (200, "2026-05-31", '"2"')


def test_who_reads_and_who_writes(team):
    """The assistant reads; the administrator and the front desk neither; another episode is not there."""
    row_id = put(team).json()["id"]
    statuses = {
        who: make.signed_in(team[who]).get(f"/api/v1/episode-diagnoses/{row_id}/").status_code
        for who in ("therapist", "assistant", "administrator", "desk")
    }
    assert statuses == {"therapist": 200, "assistant": 200, "administrator": 403, "desk": 403}
    assert put(team, "assistant").status_code == 403
    assert faults(put(team, episode=str(team["school"].pk))) == [("/episode", "not_found")]
    other = EpisodeDiagnosis.objects.create(
        organization=team["organization"], episode=team["school"], code="F84.0", starts_on=make.LONG_AGO
    )
    api = make.signed_in(team["therapist"])
    assert api.get(f"/api/v1/episode-diagnoses/{other.pk}/").status_code == 404
    assert ids(api.get("/api/v1/episode-diagnoses/")) == [row_id]
    assert ids(api.get(f"/api/v1/episode-diagnoses/?episode={team['school'].pk}")) == []


def test_another_organizations_diagnosis_does_not_exist(team):
    row_id = put(team).json()["id"]
    elsewhere = make.make_organization(name="Elsewhere")
    stranger = make.make_staff(elsewhere, Role.THERAPIST)
    make.put_on_team(stranger, make.make_episode(make.make_client(make.make_site(elsewhere))))
    assert make.signed_in(stranger).get(f"/api/v1/episode-diagnoses/{row_id}/").status_code == 404


def test_the_list_costs_the_same_for_one_and_for_six(team):
    api = make.signed_in(team["therapist"])
    put(team)
    one, cost = cost_of(api, "/api/v1/episode-diagnoses/")
    for _ in range(5):
        episode = make.make_episode(make.make_client(team["site"]))
        make.put_on_team(team["therapist"], episode)
        put(team, episode=str(episode.pk))
    assert (one, cost_of(api, "/api/v1/episode-diagnoses/")) == (1, (6, cost))
