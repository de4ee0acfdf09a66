"""Supervision and handovers over HTTP."""

from datetime import date

import pytest

from clinic.enums import Role, Setting
from clinic.models import StaffRole, Succession, Supervision
from tests import factories as make
from tests.clinic.asking import cost_of, faults, ids, recorded

pytestmark = pytest.mark.django_db


@pytest.fixture
def team():
    organization = make.make_organization()
    site = make.make_site(organization)
    return {
        "organization": organization,
        "site": site,
        "episode": make.make_episode(make.make_client(site)),
        "assistant": make.make_staff(organization, Role.ASSISTANT),
        "ruth": make.make_staff(organization, Role.THERAPIST),
        "sol": make.make_staff(organization, Role.THERAPIST),
        "desk": make.make_staff(organization, Role.FRONT_DESK),
        "administrator": make.make_staff(organization, Role.ADMINISTRATOR),
    }


def assign(team, who="administrator", row_id=None, **over):
    asked = {
        "assistant": str(team["assistant"].pk),
        "supervisor": str(team["ruth"].pk),
        "scope": "organization",
        "starts_on": "2026-01-01",
        **over,
    }
    return make.signed_in(team[who]).put(f"/api/v1/supervisions/{row_id or make.new_id()}/", asked, format="json")


def end(team, row_id, ends_on, version=1, who="administrator"):
    return make.signed_in(team[who]).patch(
        f"/api/v1/supervisions/{row_id}/", {"ends_on": ends_on}, format="json", HTTP_IF_MATCH=f'"{version}"'
    )


def hand_over(team, who="administrator", **over):
    asked = {
        "former": str(team["ruth"].pk),
        "successor": str(team["sol"].pk),
        "starts_on": "2026-04-01",
        "reason": "Left the practice",
        **over,
    }
    return make.signed_in(team[who]).post("/api/v1/successions/", asked, format="json")


def test_a_supervisor_reaches_what_her_assistant_treats(team):
    """Through the assignment, and no longer than it lasts."""
    make.put_on_team(team["assistant"], team["episode"])
    url = f"/api/v1/episodes/{team['episode'].pk}/"
    assert make.signed_in(team["ruth"]).get(url).status_code == 404
    row = assign(team).json()
    assert (row["kind"], row["ends_on"], row["site"]) == ("primary", None, None)
    assert make.signed_in(team["ruth"]).get(url).status_code == 200
    assert end(team, row["id"], "2026-06-30").status_code == 200
    assert make.signed_in(team["ruth"]).get(url).status_code == 404


def test_a_second_primary_in_the_same_scope_is_refused(team):
    """409 with a code of its own; covering, another scope and the days after are free."""
    row = assign(team, ends_on="2026-03-15").json()
    before = recorded()
    answer = assign(team, supervisor=str(team["sol"].pk), starts_on="2026-03-15")
    assert (answer.status_code, answer.json()["code"]) == (409, "supervision_overlaps")
    assert (recorded(), Supervision.objects.count()) == (before, 1)
    assert assign(team, supervisor=str(team["sol"].pk), kind="covering").status_code == 201
    assert assign(team, scope="site", site=str(team["site"].pk)).status_code == 201
    assert assign(team, supervisor=str(team["sol"].pk), starts_on="2026-03-16").status_code == 201
    prolonged = end(team, row["id"], None)
    assert (prolonged.status_code, prolonged.json()["code"]) == (409, "supervision_overlaps")


@pytest.mark.parametrize(
    ("change", "status", "fault"),
    [
        pytest.param({"assistant": "sol"}, 422, ("/assistant", "role_not_held"), id="a therapist assists"),
        pytest.param({"supervisor": "desk"}, 422, ("/supervisor", "role_not_held"), id="the desk supervises"),
        pytest.param({"supervisor": "assistant"}, 422, ("/supervisor", "same_person"), id="herself"),
        pytest.param({"supervisor": make.new_id()}, 422, ("/supervisor", "not_found"), id="nobody"),
        pytest.param({"scope": "site"}, 400, ("/site", "required"), id="a site without its name"),
        pytest.param({"episode": "episode"}, 400, ("/episode", "not_in_this_scope"), id="everywhere, in one episode"),
        pytest.param({"scope": "episode", "episode": make.new_id()}, 422, ("/episode", "not_found"), id="no episode"),
        pytest.param({"scope": "site", "site": make.new_id()}, 422, ("/site", "not_found"), id="no site"),
        pytest.param({"ends_on": "2025-12-31"}, 400, ("/ends_on", "before_start"), id="ends before it starts"),
    ],
)
def test_a_wrong_member_is_pointed_at(team, change, status, fault):
    """A clear problem with the member's pointer, and nothing written."""
    before = recorded()
    named = {name: str(team[value].pk) if value in team else value for name, value in change.items() if name != "scope"}
    answer = assign(team, **{**change, **named})
    assert (answer.status_code, faults(answer)) == (status, [fault])
    assert (Supervision.objects.count(), recorded()) == (0, before)


def test_the_roles_are_asked_for_the_first_day(team):
    """A role that ended the day before does not serve."""
    StaffRole.objects.filter(staff=team["ruth"]).update(ends_on=date(2025, 12, 31))
    assert faults(assign(team)) == [("/supervisor", "role_not_held")]
    assert assign(team, starts_on="2025-12-31").status_code == 201


def test_only_an_administrator_assigns(team):
    """Clinicians read; the front desk does neither."""
    assert [assign(team, who).status_code for who in ("assistant", "ruth", "desk")] == [403, 403, 403]
    row = assign(team).json()
    statuses = [
        make.signed_in(team[who]).get(f"/api/v1/supervisions/{row['id']}/").status_code
        for who in ("assistant", "ruth", "desk")
    ]
    assert statuses == [200, 200, 403]
    assert end(team, row["id"], "2026-06-30", who="ruth").status_code == 403


def test_only_the_last_day_changes(team):
    """A day before the first is refused, and so is another supervisor on the same row."""
    row = assign(team).json()
    early = end(team, row["id"], "2025-12-31")
    assert (early.status_code, faults(early)) == (422, [("/ends_on", "before_start")])
    moved = make.signed_in(team["administrator"]).put(
        f"/api/v1/supervisions/{row['id']}/",
        {
            "assistant": row["assistant"],
            "supervisor": str(team["sol"].pk),
            "scope": "organization",
            "starts_on": "2026-01-01",
        },
        format="json",
        HTTP_IF_MATCH='"1"',
    )
    assert (moved.status_code, faults(moved)) == (422, [("/supervisor", "fixed")])
    assert Supervision.objects.get().supervisor_id == team["ruth"].pk


def test_another_organizations_supervision_does_not_exist(team):
    elsewhere = make.make_organization(name="Elsewhere")
    row = make.make_supervision(make.make_staff(elsewhere, Role.ASSISTANT), make.make_staff(elsewhere, Role.THERAPIST))
    api = make.signed_in(team["administrator"])
    assert api.get(f"/api/v1/supervisions/{row.pk}/").status_code == 404
    assert end(team, row.pk, "2026-06-30").status_code == 404
    assert ids(api.get("/api/v1/supervisions/")) == []


def test_the_list_is_filtered(team):
    """By assistant, supervisor and day."""
    past = make.make_supervision(team["assistant"], team["ruth"], ends_on=date(2025, 6, 30))
    present = make.make_supervision(team["assistant"], team["sol"], starts_on=date(2025, 7, 1))
    api = make.signed_in(team["administrator"])
    assert ids(api.get(f"/api/v1/supervisions/?supervisor={team['ruth'].pk}")) == [str(past.pk)]
    assert ids(api.get(f"/api/v1/supervisions/?assistant={team['assistant'].pk}&on=2026-01-01")) == [str(present.pk)]


def test_the_list_costs_the_same_for_one_and_for_six(team):
    """Assignments of single episodes too."""
    api = make.signed_in(team["administrator"])
    settings = [setting.value for setting in Setting]
    make.make_supervision(team["assistant"], team["ruth"], scope="episode", episode=team["episode"])
    one, cost = cost_of(api, "/api/v1/supervisions/")
    for number in range(5):
        episode = make.make_episode(make.make_client(team["site"]), setting=settings[number % 4])
        make.make_supervision(team["assistant"], team["ruth"], scope="episode", episode=episode)
    assert (one, cost_of(api, "/api/v1/supervisions/")) == (1, (6, cost))


def test_a_handover_follows_somebody_who_leaves(team):
    """Refused while her last day is open; then recorded once, with who recorded it."""
    early = hand_over(team)
    assert (early.status_code, faults(early)) == (422, [("/former", "not_leaving")])
    assert Succession.objects.count() == 0
    team["ruth"].left_on = date(2026, 3, 31)
    team["ruth"].save()
    answer = hand_over(team)
    assert (answer.status_code, answer.json()["by"]) == (201, str(team["administrator"].pk))
    again = hand_over(team)
    assert (again.status_code, again.json()["code"]) == (409, "succession_exists")
    assert ids(make.signed_in(team["sol"]).get("/api/v1/successions/")) == [answer.json()["id"]]


@pytest.mark.parametrize(
    ("change", "status", "fault"),
    [
        pytest.param({"successor": "desk"}, 422, ("/successor", "role_not_held"), id="not a therapist"),
        pytest.param({"successor": "ruth"}, 422, ("/successor", "same_person"), id="herself"),
        pytest.param({"reason": ""}, 400, ("/reason", "blank"), id="no reason"),
    ],
)
def test_a_handover_that_cannot_be(team, change, status, fault):
    team["ruth"].left_on = date(2026, 3, 31)
    team["ruth"].save()
    answer = hand_over(team, **{k: str(team[v].pk) if v in team else v for k, v in change.items()})
    assert (answer.status_code, faults(answer)) == (status, [fault])
    assert Succession.objects.count() == 0


def test_only_an_administrator_hands_over(team):
    assert [hand_over(team, who).status_code for who in ("assistant", "ruth", "desk")] == [403, 403, 403]


def test_the_handovers_cost_the_same_for_one_and_for_six(team):
    api = make.signed_in(team["administrator"])
    for number in range(6):
        former = make.make_staff(team["organization"], left_on=date(2026, 3, 31))
        assert hand_over(team, former=str(former.pk)).status_code == 201
        if number == 0:
            one, cost = cost_of(api, "/api/v1/successions/")
    assert (one, cost_of(api, "/api/v1/successions/")) == (1, (6, cost))
