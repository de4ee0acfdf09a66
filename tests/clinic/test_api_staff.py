"""The people who work there over HTTP: entering, roles, licences, hours, leaving."""

from datetime import date

import pytest

from clinic.enums import Role
from clinic.models import CareTeam, Staff, StaffRole, Supervision
from tests import factories as make
from tests.clinic.asking import cost_of, faults, ids, recorded

pytestmark = pytest.mark.django_db


@pytest.fixture
def team():
    organization = make.make_organization()
    site = make.make_site(organization)
    return {
        "organization": organization,
        "episode": make.make_episode(make.make_client(site)),
        "assistant": make.make_staff(organization, Role.ASSISTANT, printed_name="Ana"),
        "therapist": make.make_staff(organization, Role.THERAPIST, printed_name="Ruth"),
        "administrator": make.make_staff(organization, Role.ADMINISTRATOR, printed_name="Wren"),
        "desk": make.make_staff(organization, Role.FRONT_DESK, printed_name="Zoe"),
    }


def put(team, path, asked, who="administrator", row_id=None):
    return make.signed_in(team[who]).put(f"/api/v1/{path}/{row_id or make.new_id()}/", asked, format="json")


def patch(team, path, row_id, asked, who="administrator", version=1):
    return make.signed_in(team[who]).patch(
        f"/api/v1/{path}/{row_id}/", asked, format="json", HTTP_IF_MATCH=f'"{version}"'
    )


def role(team, **over):
    return {"staff": str(team["therapist"].pk), "role": "administrator", "starts_on": "2026-01-01", **over}


def licence(team, **over):
    return {
        "staff": str(team["assistant"].pk),
        "kind": "licence",
        "abbreviation": "OTA",
        "jurisdiction": "US-IL",
        "number": "057-1",
        "starts_on": "2024-08-01",
        **over,
    }


def hours(team, **over):
    return {"staff": str(team["assistant"].pk), "minutes_a_week": 1920, "starts_on": "2026-01-01", **over}


def test_somebody_is_entered_and_renamed(team):
    """By the administrator only; everybody may read."""
    asked = {"printed_name": "Sol Okafor, OT", "joined_on": "2026-03-16"}
    made = put(team, "staff", asked)
    assert (made.status_code, made.json()["left_on"]) == (201, None)
    row_id = made.json()["id"]
    assert patch(team, "staff", row_id, {"printed_name": "Sol Okafor"}).json()["version"] == 2
    assert make.signed_in(team["desk"]).get(f"/api/v1/staff/{row_id}/").json()["printed_name"] == "Sol Okafor"
    for who in ("assistant", "therapist", "desk"):
        assert put(team, "staff", asked, who).status_code == 403
        assert patch(team, "staff", row_id, {"printed_name": "X"}, who, 2).status_code == 403


def test_nobody_leaves_before_she_joined(team):
    answer = patch(team, "staff", team["assistant"].pk, {"left_on": "2024-01-01"})
    assert (answer.status_code, faults(answer)) == (422, [("/left_on", "before_start")])
    assert Staff.objects.get(pk=team["assistant"].pk).version == 1


def test_leaving_ends_what_goes_beyond_the_last_day(team):
    """Roles, supervision and places on care teams end with it; what was over stays, what was yet to begin goes."""
    assistant, therapist = team["assistant"], team["therapist"]
    supervision = make.make_supervision(assistant, therapist)
    place = make.put_on_team(assistant, team["episode"], ends_on=date(2025, 6, 30))
    running = make.put_on_team(assistant, team["episode"], starts_on=date(2025, 7, 1))
    coming = make.make_supervision(assistant, therapist, kind="covering", starts_on=date(2190, 1, 1))
    answer = patch(team, "staff", assistant.pk, {"left_on": "2026-03-31"})
    assert (answer.status_code, answer.json()["left_on"]) == (200, "2026-03-31")
    last = date(2026, 3, 31)
    assert StaffRole.objects.get(staff=assistant).ends_on == last
    assert Supervision.objects.get(pk=supervision.pk).ends_on == last
    assert not Supervision.objects.filter(pk=coming.pk).exists()
    assert CareTeam.objects.get(pk=place.pk).ends_on == date(2025, 6, 30)
    assert CareTeam.objects.get(pk=running.pk).ends_on == last
    assert StaffRole.objects.get(staff=therapist).ends_on is None
    assert make.signed_in(assistant).get("/api/v1/staff/").status_code == 403


def test_leaving_ends_supervision_as_the_supervisor_too(team):
    supervision = make.make_supervision(team["assistant"], team["therapist"])
    assert patch(team, "staff", team["therapist"].pk, {"left_on": "2026-03-31"}).status_code == 200
    assert Supervision.objects.get(pk=supervision.pk).ends_on == date(2026, 3, 31)


def test_a_last_day_before_work_that_has_begun_is_refused(team):
    """409 names the rows, and nothing is ended."""
    place = make.put_on_team(team["assistant"], team["episode"], starts_on=date(2026, 2, 1))
    before = recorded()
    answer = patch(team, "staff", team["assistant"].pk, {"left_on": "2026-01-15"})
    assert (answer.status_code, answer.json()["code"]) == (409, "assignments_began_afterwards")
    assert answer.json()["began_afterwards"] == [str(place.pk)]
    assert (recorded(), StaffRole.objects.get(staff=team["assistant"]).ends_on) == (before, None)
    assert Staff.objects.get(pk=team["assistant"].pk).left_on is None


def test_roles_are_held_from_a_day_to_a_day(team):
    """Given, listed, ended; the same role twice on one day is refused."""
    made = put(team, "staff-roles", role(team))
    assert made.status_code == 201
    overlapping = put(team, "staff-roles", role(team, starts_on="2026-02-01"))
    assert (overlapping.status_code, overlapping.json()["code"]) == (409, "role_overlaps")
    ended = patch(team, "staff-roles", made.json()["id"], {"ends_on": "2026-01-31"})
    assert (ended.status_code, ended.json()["ends_on"]) == (200, "2026-01-31")
    assert put(team, "staff-roles", role(team, starts_on="2026-02-01")).status_code == 201
    shown = make.signed_in(team["desk"]).get(f"/api/v1/staff/{team['therapist'].pk}/roles/").json()["results"]
    assert [(row["role"], row["starts_on"]) for row in shown] == [
        ("administrator", "2026-02-01"),
        ("administrator", "2026-01-01"),
        ("therapist", "2025-01-01"),
    ]


def test_licences_are_recorded_once(team):
    """The same number from the same day is refused; the expiry may be corrected, not set before the start."""
    made = put(team, "credentials", licence(team, expires_on="2026-07-31"))
    assert made.status_code == 201
    twice = put(team, "credentials", licence(team))
    assert (twice.status_code, twice.json()["code"]) == (409, "credential_exists")
    early = patch(team, "credentials", made.json()["id"], {"expires_on": "2024-07-31"})
    assert (early.status_code, faults(early)) == (422, [("/expires_on", "before_start")])
    assert patch(team, "credentials", made.json()["id"], {"expires_on": "2028-07-31"}).json()["version"] == 2
    assert ids(make.signed_in(team["desk"]).get(f"/api/v1/credentials/?staff={team['therapist'].pk}")) == []


def test_hours_are_agreed_for_one_period_at_a_time(team):
    made = put(team, "contracted-hours", hours(team))
    assert made.status_code == 201
    overlapping = put(team, "contracted-hours", hours(team, minutes_a_week=1200, starts_on="2026-06-01"))
    assert (overlapping.status_code, overlapping.json()["code"]) == (409, "contracted_hours_overlap")
    ended = patch(team, "contracted-hours", made.json()["id"], {"ends_on": "2026-05-31"})
    assert (ended.status_code, ended["ETag"]) == (200, '"2"')
    assert put(team, "contracted-hours", hours(team, starts_on="2026-06-01")).status_code == 201
    listed = make.signed_in(team["desk"]).get(f"/api/v1/contracted-hours/?staff={team['assistant'].pk}")
    assert [row["starts_on"] for row in listed.json()["results"]] == ["2026-06-01", "2026-01-01"]


@pytest.mark.parametrize(
    ("path", "form", "change", "status", "fault"),
    [
        pytest.param("staff-roles", role, {"role": "owner"}, 400, ("/role", "invalid_choice"), id="no such role"),
        pytest.param("staff-roles", role, {"staff": make.new_id()}, 422, ("/staff", "not_found"), id="nobody's role"),
        pytest.param(
            "credentials", licence, {"jurisdiction": "Illinois"}, 400, ("/jurisdiction", "too_long"), id="place"
        ),
        pytest.param(
            "credentials", licence, {"staff": make.new_id()}, 422, ("/staff", "not_found"), id="whose licence"
        ),
        pytest.param(
            "credentials", licence, {"expires_on": "2024-01-01"}, 400, ("/expires_on", "before_start"), id="expired"
        ),
        pytest.param(
            "contracted-hours", hours, {"minutes_a_week": 10081}, 400, ("/minutes_a_week", "max_value"), id="8 days"
        ),
        pytest.param(
            "contracted-hours", hours, {"minutes_a_week": True}, 400, ("/minutes_a_week", "invalid"), id="a flag"
        ),
    ],
)
def test_a_wrong_member_is_pointed_at(team, path, form, change, status, fault):
    """A clear problem with the member's pointer, and nothing written."""
    before = recorded()
    answer = put(team, path, form(team, **change))
    assert (answer.status_code, faults(answer)) == (status, [fault])
    assert recorded() == before


@pytest.mark.parametrize("form", [role, hours], ids=["role", "hours"])
def test_nothing_goes_beyond_the_last_day(team, form):
    Staff.objects.update(left_on=date(2190, 1, 31))
    path = "staff-roles" if form is role else "contracted-hours"
    assert faults(put(team, path, form(team))) == [("/ends_on", "beyond_last_day")]
    assert put(team, path, form(team, ends_on="2190-01-31")).status_code == 201


def test_another_organizations_staff_does_not_exist(team):
    """Nor do her roles, her licences and her hours."""
    stranger = make.make_staff(make.make_organization(name="Elsewhere"), Role.ASSISTANT)
    credential = make.make_credential(stranger)
    api = make.signed_in(team["administrator"])
    paths = [
        f"staff/{stranger.pk}/",
        f"staff/{stranger.pk}/roles/",
        f"staff-roles/{stranger.roles.get().pk}/",
        f"credentials/{credential.pk}/",
    ]
    assert [api.get(f"/api/v1/{path}").status_code for path in paths] == [404, 404, 404, 404]
    assert patch(team, "staff", stranger.pk, {"left_on": "2026-03-31"}).status_code == 404
    assert put(team, "credentials", licence(team), row_id=credential.pk).status_code == 404
    assert faults(put(team, "staff-roles", role(team, staff=str(stranger.pk)))) == [("/staff", "not_found")]


def test_the_list_is_by_name_and_filtered(team):
    """By the role of today, and by being at work today."""
    gone = make.make_staff(team["organization"], Role.ASSISTANT, printed_name="Bea", left_on=date(2026, 1, 31))
    api = make.signed_in(team["desk"])
    names = [row["printed_name"] for row in api.get("/api/v1/staff/").json()["results"]]
    assert names == ["Ana", "Bea", "Ruth", "Wren", "Zoe"]
    assert ids(api.get("/api/v1/staff/?working=false")) == [str(gone.pk)]
    assert ids(api.get("/api/v1/staff/?role=assistant&working=true")) == [str(team["assistant"].pk)]
    assert api.get("/api/v1/staff/?working=yes").status_code == 400


@pytest.mark.parametrize("path", ["staff", "credentials", "contracted-hours", "roles"])
def test_the_lists_cost_the_same_for_few_and_for_many(team, path):
    api = make.signed_in(team["administrator"])
    url = f"/api/v1/staff/{team['assistant'].pk}/roles/" if path == "roles" else f"/api/v1/{path}/"

    def add(year):
        put(team, "credentials", licence(team, number=str(year)))
        put(team, "contracted-hours", hours(team, starts_on=f"{year}-01-01", ends_on=f"{year}-12-31"))
        put(
            team,
            "staff-roles",
            role(team, staff=str(team["assistant"].pk), ends_on="2026-01-01")
            | {"starts_on": f"{year}-01-01", "ends_on": f"{year}-12-31"},
        )

    add(2030)
    few, cost = cost_of(api, url)
    for year in range(2031, 2036):
        add(year)
        make.make_staff(team["organization"])
    assert cost_of(api, url) == (few + 5, cost)
