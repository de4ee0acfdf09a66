"""Precautions over HTTP: who records, who lifts, who sees."""

from datetime import date

import pytest

from clinic.enums import Role
from clinic.models import Precaution
from tests import factories as make
from tests.clinic.asking import cost_of, faults, ids, recorded

pytestmark = pytest.mark.django_db


@pytest.fixture
def team():
    organization = make.make_organization()
    site = make.make_site(organization)
    child = make.make_client(site)
    episode = make.make_episode(child)
    found = {
        "organization": organization,
        "site": site,
        "child": child,
        "assistant": make.make_staff(organization, Role.ASSISTANT),
        "therapist": make.make_staff(organization, Role.THERAPIST),
        "stranger": make.make_staff(organization, Role.THERAPIST),
        "administrator": make.make_staff(organization, Role.ADMINISTRATOR),
        "desk": make.make_staff(organization, Role.FRONT_DESK),
    }
    for who in ("assistant", "therapist"):
        make.put_on_team(found[who], episode)
    return found


def body(team, **over):
    return {
        "client": str(team["child"].pk),
        "kind": "loading",
        "text": "No inversion until cleared",
        "refused": ["inversion", "neck_load"],
        "set_by": "physician",
        "starts_on": "2026-09-10",
        **over,
    }


def put(team, who="assistant", row_id=None, **over):
    return make.signed_in(team[who]).put(
        f"/api/v1/precautions/{row_id or make.new_id()}/", body(team, **over), format="json"
    )


def lift(team, row_id, who="therapist", version=1, **over):
    asked = {"lifted_on": "2026-09-24", "lifted_by": "physician", **over}
    return make.signed_in(team[who]).post(
        f"/api/v1/precautions/{row_id}/lift/", asked, format="json", HTTP_IF_MATCH=f'"{version}"'
    )


def test_an_assistant_records_what_she_learns(team):
    """Whoever set it may lift it, when nothing else is said; sent twice it is one."""
    row_id = make.new_id()
    first, again = put(team, row_id=row_id), put(team, row_id=row_id)
    assert (first.status_code, again.status_code) == (201, 200)
    shown = first.json()
    assert (shown["may_be_lifted_by"], shown["recorded_by"]) == ("physician", str(team["assistant"].pk))
    assert (shown["refused"], shown["warned"], shown["lifted_on"]) == (["inversion", "neck_load"], [], None)
    assert Precaution.objects.count() == 1


def test_a_therapist_records_the_lift(team):
    """By the word of who may lift; the history stays, and a second lift is refused."""
    row_id = put(team).json()["id"]
    answer = lift(team, row_id)
    assert (answer.status_code, answer["ETag"]) == (200, '"2"')
    shown = answer.json()
    assert (shown["lifted_on"], shown["lifted_by"]) == ("2026-09-24", "physician")
    assert (shown["lifted_recorded_by"], shown["text"]) == (str(team["therapist"].pk), "No inversion until cleared")
    again = lift(team, row_id, version=2)
    assert (again.status_code, again.json()["code"]) == (409, "already_lifted")


@pytest.mark.parametrize(
    ("who", "change", "status", "fault"),
    [
        pytest.param("therapist", {"lifted_on": "2026-09-09"}, 422, ("/lifted_on", "before_start"), id="too early"),
        pytest.param("therapist", {"lifted_by": "therapist"}, 422, ("/lifted_by", "may_not_lift"), id="not hers"),
        pytest.param("therapist", {"lifted_by": "nobody"}, 400, ("/lifted_by", "invalid_choice"), id="nobody's"),
        pytest.param("assistant", {}, 403, "only_a_therapist_lifts", id="an assistant"),
        pytest.param("stranger", {}, 404, "not_found", id="out of reach"),
        pytest.param("administrator", {}, 403, "role_may_not", id="an administrator"),
    ],
)
def test_a_lift_that_is_refused(team, who, change, status, fault):
    """The precaution holds on, and nothing is told."""
    row_id = put(team).json()["id"]
    before = recorded()
    answer = lift(team, row_id, who, **change)
    assert answer.status_code == status
    assert (faults(answer)[0] if isinstance(fault, tuple) else answer.json()["code"]) == fault
    assert (Precaution.objects.get().lifted_on, recorded()) == (None, before)


def test_a_precaution_stays_as_it_was_recorded(team):
    """A PUT of other content is refused even under the right version."""
    row_id = put(team).json()["id"]
    answer = make.signed_in(team["therapist"]).put(
        f"/api/v1/precautions/{row_id}/", body(team, refused=[]), format="json", HTTP_IF_MATCH='"1"'
    )
    assert (answer.status_code, faults(answer)) == (422, [("/refused", "fixed")])
    assert Precaution.objects.get().refused == ["inversion", "neck_load"]


@pytest.mark.parametrize(
    ("change", "status", "fault"),
    [
        pytest.param({"client": make.new_id()}, 422, ("/client", "not_found"), id="no child"),
        pytest.param({"refused": "inversion"}, 400, ("/refused", "not_a_list"), id="a word for a list"),
        pytest.param({"refused": ["No Jumping"]}, 400, ("/refused/0", "invalid"), id="a sentence for a word"),
        pytest.param({"text": " "}, 400, ("/text", "blank"), id="nothing said"),
        pytest.param({"lifted_on": "2026-09-24"}, 400, ("/lifted_on", "unknown_member"), id="lifted at once"),
    ],
)
def test_a_wrong_member_is_pointed_at(team, change, status, fault):
    before = recorded()
    answer = put(team, **change)
    assert (answer.status_code, faults(answer)) == (status, [fault])
    assert (Precaution.objects.count(), recorded()) == (0, before)


def test_only_those_who_treat_see_precautions(team):
    """No clinical word for the front desk and the administrator; nothing at all for a stranger."""
    row_id = put(team).json()["id"]
    for who, status in (("assistant", 200), ("therapist", 200), ("stranger", 404), ("desk", 403)):
        assert make.signed_in(team[who]).get(f"/api/v1/precautions/{row_id}/").status_code == status
    assert make.signed_in(team["administrator"]).get("/api/v1/precautions/").status_code == 403
    assert ids(make.signed_in(team["stranger"]).get("/api/v1/precautions/")) == []
    assert faults(put(team, "stranger")) == [("/client", "not_found")]


def test_another_organizations_precaution_does_not_exist(team):
    elsewhere = make.make_organization(name="Elsewhere")
    child = make.make_client(make.make_site(elsewhere))
    colleague = make.make_staff(elsewhere, Role.THERAPIST)
    make.put_on_team(colleague, make.make_episode(child))
    row = put({"child": child, "assistant": colleague}).json()
    assert make.signed_in(team["therapist"]).get(f"/api/v1/precautions/{row['id']}/").status_code == 404
    assert lift(team, row["id"]).status_code == 404


def test_the_live_ones_are_those_to_be_heeded_today(team):
    """Begun and not lifted by today; a lift that is still to come does not count."""
    heeded = put(team, starts_on="2026-01-01").json()["id"]
    lifted = put(team, starts_on="2026-01-02").json()["id"]
    lift(team, lifted, lifted_on="2026-01-03")
    later = put(team, starts_on="2026-01-03").json()["id"]
    lift(team, later, lifted_on="2199-01-01")
    coming = put(team, starts_on="2198-01-01").json()["id"]
    api = make.signed_in(team["assistant"])
    assert ids(api.get("/api/v1/precautions/?live=true")) == [later, heeded]
    assert ids(api.get("/api/v1/precautions/?live=false")) == [coming, lifted]
    assert len(ids(api.get(f"/api/v1/precautions/?client={team['child'].pk}"))) == 4
    assert Precaution.objects.live_on(date(2199, 1, 1)).count() == 2


def test_the_list_costs_the_same_for_one_and_for_six(team):
    api = make.signed_in(team["therapist"])
    put(team)
    one, cost = cost_of(api, "/api/v1/precautions/")
    for _ in range(5):
        put(team)
    assert (one, cost_of(api, "/api/v1/precautions/")) == (1, (6, cost))
