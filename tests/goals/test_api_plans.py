"""Scales, plan periods and their certification over HTTP."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from clinic.enums import Role
from goals.models import Certification, OrderedScale, PlanPeriod
from tests import factories as make
from tests.goals.team import make_team

pytestmark = pytest.mark.django_db
LEVELS = ["not in sight", "in sight", "touches", "licks"]
TWICE = {"times": 2, "minutes": 45, "per": "week", "weeks": 6}
ONCE = {"times": 1, "minutes": 45, "per": "week"}
# The check digit is the one of the CMS example, 123456789 with 3 (CMS, NPI check digit document).
NPI = "1234567893"


@pytest.fixture
def team():
    return make_team()


def period_body(team, **over):
    given = {"starts_on": "2026-03-02", "ends_on": "2026-05-29", "frequency": [TWICE, ONCE]}
    return {"episode": str(team.episode.pk), **given, **over}


def put(staff, path, body, row_id=None, **headers):
    return make.signed_in(staff).put(f"/api/v1/{path}/{row_id or make.new_id()}/", body, format="json", **headers)


def patch(staff, path, row_id, body, version=1):
    api = make.signed_in(staff)
    return api.patch(f"/api/v1/{path}/{row_id}/", body, format="json", HTTP_IF_MATCH=f'"{version}"')


def errors(answer):
    return [(error["pointer"], error["code"]) for error in answer.json()["errors"]]


def test_a_scale_keeps_its_levels(team):
    """Added by a therapist, renamed, never given other levels; its name stands once in the organization."""
    scale_id = make.new_id()
    made = put(team.therapist, "scales", {"name": "New foods", "levels": LEVELS}, scale_id)
    assert (made.status_code, made.json()["levels"]) == (201, LEVELS)
    renamed = patch(team.therapist, "scales", scale_id, {"name": "Foods"})
    assert (renamed.status_code, renamed.json()["name"]) == (200, "Foods")
    other = {"name": "Foods", "levels": LEVELS[::-1]}
    refused = put(team.therapist, "scales", other, scale_id, HTTP_IF_MATCH='"2"')
    assert (refused.status_code, errors(refused)) == (422, [("/levels", "fixed")])
    taken = put(team.therapist, "scales", other)
    assert (taken.status_code, taken.json()["code"]) == (409, "scale_name_taken")
    assert OrderedScale.objects.values_list("name", "levels").get() == ("Foods", LEVELS)


@pytest.mark.parametrize(
    ("levels", "pointer", "code"),
    [
        pytest.param(["one"], "/levels", "min_length", id="one level"),
        pytest.param(["one", "one"], "/levels", "name_twice", id="a level twice"),
        pytest.param(["one", ""], "/levels/1", "blank", id="a level without a name"),
        pytest.param([f"level {number}" for number in range(51)], "/levels", "max_length", id="51 levels"),
    ],
)
def test_a_scale_that_says_too_little_is_refused(team, levels, pointer, code):
    """400 with its place, and no scale."""
    answer = put(team.therapist, "scales", {"name": "Foods", "levels": levels})
    assert (answer.status_code, errors(answer)) == (400, [(pointer, code)])
    assert OrderedScale.objects.count() == 0


def test_scales_are_read_by_the_team_and_written_by_a_therapist(team):
    """The assistant reads them; another organization's are not there."""
    scale_id = make.new_id()
    put(team.therapist, "scales", {"name": "Foods", "levels": LEVELS}, scale_id)
    assistant = make.signed_in(team.assistant)
    assert [row["id"] for row in assistant.get("/api/v1/scales/").json()["results"]] == [scale_id]
    assert put(team.assistant, "scales", {"name": "Mine", "levels": LEVELS}).status_code == 403
    elsewhere = make.signed_in(make_team(name="Elsewhere").therapist)
    assert elsewhere.get(f"/api/v1/scales/{scale_id}/").status_code == 404
    assert elsewhere.get("/api/v1/scales/").json()["results"] == []


def test_a_plan_period_is_written_and_only_shortened(team):
    """Its frequency tapers; it ends earlier, never later; the period that follows takes the days set free."""
    period_id = make.new_id()
    made = put(team.therapist, "plan-periods", period_body(team), period_id)
    assert (made.status_code, made.json()["frequency"]) == (201, [TWICE, {**ONCE, "weeks": None}])
    assert made.json()["written_by"] == str(team.therapist.pk)
    longer = patch(team.therapist, "plan-periods", period_id, {"ends_on": "2026-05-30"})
    assert (longer.status_code, errors(longer)) == (422, [("/ends_on", "only_earlier")])
    before = patch(team.therapist, "plan-periods", period_id, {"ends_on": "2026-03-01"})
    assert (before.status_code, errors(before)) == (422, [("/ends_on", "out_of_order")])
    shorter = patch(team.therapist, "plan-periods", period_id, {"ends_on": "2026-05-15"})
    assert (shorter.status_code, shorter["ETag"], shorter.json()["ends_on"]) == (200, '"2"', "2026-05-15")
    amended = put(team.therapist, "plan-periods", period_body(team, starts_on="2026-05-16"))
    assert amended.status_code == 201


def test_plan_periods_of_an_episode_do_not_overlap(team):
    """409 for a day that is covered already; another episode has its own."""
    put(team.therapist, "plan-periods", period_body(team))
    answer = put(team.therapist, "plan-periods", period_body(team, starts_on="2026-05-29", ends_on="2026-08-01"))
    assert (answer.status_code, answer.json()["code"]) == (409, "plan_periods_overlap")
    assert PlanPeriod.objects.count() == 1


@pytest.mark.parametrize(
    ("change", "status", "pointer", "code"),
    [
        pytest.param({"ends_on": "2026-03-01"}, 422, "/ends_on", "out_of_order", id="ends before it starts"),
        pytest.param({"frequency": []}, 400, "/frequency", "min_length", id="no frequency"),
        pytest.param({"frequency": [{**ONCE, "per": "day"}]}, 400, "/frequency/0/per", "invalid_choice", id="per day"),
        pytest.param({"frequency": [{**ONCE, "times": 0}]}, 400, "/frequency/0/times", "min_value", id="no times"),
        pytest.param({"frequency": [{**ONCE, "minutes": True}]}, 400, "/frequency/0/minutes", "invalid", id="a flag"),
        pytest.param({"episode": make.new_id()}, 422, "/episode", "not_found", id="unknown episode"),
        pytest.param({"goal": 1}, 400, "/goal", "unknown_member", id="unknown member"),
    ],
)
def test_a_wrong_member_of_a_period_is_pointed_at(team, change, status, pointer, code):
    """A clear problem, and no period."""
    answer = put(team.therapist, "plan-periods", period_body(team, **change))
    assert (answer.status_code, errors(answer)) == (status, [(pointer, code)])
    assert PlanPeriod.objects.count() == 0


@pytest.fixture
def period(team):
    period_id = make.new_id()
    put(team.therapist, "plan-periods", period_body(team, starts_on="2025-03-02", ends_on="2025-05-29"), period_id)
    return period_id


def certification_body(period, **over):
    given = {"physician_name": "Dr. Ansa Kivelä", "physician_npi": NPI, "sent_on": "2025-03-02"}
    return {"plan_period": period, **given, **over}


def test_a_certification_goes_out_and_comes_back(team, period):
    """Sent, then received with the day of the signature; the period is not another's."""
    row_id = make.new_id()
    sent = put(team.therapist, "certifications", certification_body(period), row_id)
    assert (sent.status_code, sent.json()["signed_on"]) == (201, None)
    back = patch(team.therapist, "certifications", row_id, {"received_on": "2025-03-09", "signed_on": "2025-03-06"})
    assert (back.status_code, back["ETag"], back.json()["signed_on"]) == (200, '"2"', "2025-03-06")
    listed = make.signed_in(team.assistant).get(f"/api/v1/certifications/?plan_period={period}").json()["results"]
    assert [row["id"] for row in listed] == [row_id]


@pytest.mark.parametrize(
    ("change", "status", "pointer", "code"),
    [
        pytest.param({"physician_npi": "1234567890"}, 400, "/physician_npi", "invalid_npi", id="check digit"),
        pytest.param({"physician_npi": "12345"}, 400, "/physician_npi", "invalid_npi", id="five digits"),
        pytest.param({"signed_on": "2199-01-01"}, 422, "/signed_on", "in_the_future", id="signed in the future"),
        pytest.param({"plan_period": make.new_id()}, 422, "/plan_period", "not_found", id="unknown period"),
    ],
)
def test_a_wrong_member_of_a_certification_is_pointed_at(team, period, change, status, pointer, code):
    """A clear problem, and no certification."""
    answer = put(team.therapist, "certifications", certification_body(period, **change))
    assert (answer.status_code, errors(answer)) == (status, [(pointer, code)])
    assert Certification.objects.count() == 0


def test_plans_are_read_by_the_team_and_written_by_the_therapist(team, period):
    """403 for the assistant's writing; 404 and empty lists out of reach; 403 for the office."""
    row_id = make.new_id()
    put(team.therapist, "certifications", certification_body(period), row_id)
    urls = [f"/api/v1/plan-periods/{period}/", f"/api/v1/certifications/{row_id}/"]
    assert [make.signed_in(team.assistant).get(url).status_code for url in urls] == [200, 200]
    assert put(team.assistant, "plan-periods", period_body(team)).status_code == 403
    assert put(team.assistant, "certifications", certification_body(period)).status_code == 403
    stranger = make.make_staff(team.organization, Role.THERAPIST)
    assert [make.signed_in(stranger).get(url).status_code for url in urls] == [404, 404]
    assert errors(put(stranger, "plan-periods", period_body(team))) == [("/episode", "not_found")]
    assert errors(put(stranger, "certifications", certification_body(period))) == [("/plan_period", "not_found")]
    lists = ["/api/v1/plan-periods/", "/api/v1/certifications/"]
    assert [make.signed_in(stranger).get(url).json()["results"] for url in lists] == [[], []]
    desk = make.signed_in(make.make_staff(team.organization, Role.FRONT_DESK))
    assert [desk.get(url).status_code for url in urls] == [403, 403]


@pytest.mark.parametrize("path", ["scales", "plan-periods", "certifications"])
def test_a_list_of_six_costs_what_a_list_of_one_costs(team, path):
    """No query in a loop."""
    api = make.signed_in(team.assistant)

    def add(number):
        period_id = make.new_id()
        days = {"starts_on": f"2025-{number:02d}-02", "ends_on": f"2025-{number:02d}-20"}
        put(team.therapist, "plan-periods", period_body(team, **days), period_id)
        put(team.therapist, "certifications", certification_body(period_id))
        put(team.therapist, "scales", {"name": f"Scale {number}", "levels": LEVELS})

    def cost():
        with CaptureQueriesContext(connection) as asked:
            shown = api.get(f"/api/v1/{path}/").json()["results"]
        return len(shown), len(asked)

    add(1)
    cost()
    one = cost()
    for number in range(2, 7):
        add(number)
    assert (one[0], cost()) == (1, (6, one[1]))
