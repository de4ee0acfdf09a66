"""An administrator may give herself a right; it is listed for good and the others are told at once."""

from datetime import date

import pytest

from clinic.enums import Role, Setting
from clinic.models import Notice, SelfGivenRight
from tests import factories as make

pytestmark = pytest.mark.django_db
TODAY = date(2026, 11, 25)


@pytest.fixture
def clinic():
    """Two administrators, one of them a therapist as well; an assistant who treats a child; the front desk."""
    organization = make.make_organization()
    site = make.make_site(organization)
    people = {
        "iris": make.make_staff(organization, Role.ADMINISTRATOR),
        "bo": make.make_staff(organization, Role.ADMINISTRATOR, Role.THERAPIST),
        "ana": make.make_staff(organization, Role.ASSISTANT),
        "nell": make.make_staff(organization, Role.ASSISTANT),
        "desk": make.make_staff(organization, Role.FRONT_DESK),
    }
    child = make.make_client(site)
    episode = make.make_episode(child)
    make.put_on_team(people["ana"], episode)
    school = make.make_episode(child, setting=Setting.SCHOOL.value)
    make.put_on_team(people["nell"], school)
    return {"organization": organization, "episode": episode, **people}


def put(staff, path, body):
    answer = make.signed_in(staff).put(f"/api/v1/{path}/{make.new_id()}/", body, format="json")
    assert answer.status_code == 201, answer.content
    return answer.json()


def give_role(by, to, role, **over):
    return put(by, "staff-roles", {"staff": str(to.pk), "role": role, "starts_on": str(TODAY), **over})


def told(staff):
    return [row.subject_id for row in Notice.objects.filter(recipient=staff, kind="self_given_right")]


def listed(staff):
    rows = make.signed_in(staff).get("/api/v1/self-given-rights/").json()["results"]
    return [(row["kind"], row["staff"], row["subject"]) for row in rows]


def test_a_role_she_gives_herself_is_told_and_listed(clinic):
    """The other administrator is told; everybody finds it in the list, with the row that grants it."""
    role = give_role(clinic["iris"], clinic["iris"], "therapist")
    (given,) = SelfGivenRight.objects.all()
    assert told(clinic["bo"]) == [given.pk]
    for name in ("iris", "ana", "nell", "desk"):
        assert told(clinic[name]) == []
        assert listed(clinic[name]) == [("role", str(clinic["iris"].pk), role["id"])]


def test_a_role_for_another_is_nothing_of_the_kind(clinic):
    """What somebody else receives is not listed, and nobody is told."""
    give_role(clinic["iris"], clinic["ana"], "front_desk")
    assert (SelfGivenRight.objects.count(), Notice.objects.count()) == (0, 0)


def test_with_no_other_administrator_everybody_else_is_told(clinic):
    """In a small practice the one administrator is watched by those who work with her."""
    clinic["bo"].roles.filter(role="administrator").delete()
    give_role(clinic["iris"], clinic["iris"], "therapist")
    assert [len(told(clinic[name])) for name in ("iris", "bo", "ana", "nell", "desk")] == [0, 1, 1, 1, 1]


def test_more_days_of_her_own_role_are_told_and_fewer_are_not(clinic):
    """Prolonging it is giving it; ending it is not."""
    role = give_role(clinic["bo"], clinic["iris"], "front_desk", ends_on="2026-12-01")
    api = make.signed_in(clinic["iris"])
    for ends_on, match, count in (("2026-11-30", 1, 0), ("2026-12-15", 2, 1), (None, 3, 2), ("2027-01-31", 4, 2)):
        answer = api.patch(
            f"/api/v1/staff-roles/{role['id']}/", {"ends_on": ends_on}, format="json", HTTP_IF_MATCH=f'"{match}"'
        )
        assert answer.status_code == 200, answer.content
        assert len(told(clinic["bo"])) == count


def test_supervision_of_her_own_is_told_to_the_assistant_too(clinic):
    """Whoever she will answer for knows."""
    asked = {"assistant": str(clinic["ana"].pk), "supervisor": str(clinic["bo"].pk)}
    put(clinic["bo"], "supervisions", {**asked, "scope": "organization", "starts_on": str(TODAY)})
    assert [len(told(clinic[name])) for name in ("iris", "ana", "nell")] == [1, 1, 0]


def test_a_succession_of_her_own_is_told(clinic):
    """She lets herself co-sign what another had to; the one who leaves and the other administrator know."""
    leaving = make.make_staff(clinic["organization"], Role.THERAPIST, left_on=date(2026, 12, 31))
    body = {"former": str(leaving.pk), "successor": str(clinic["bo"].pk), "starts_on": str(TODAY), "reason": "Leaves"}
    assert make.signed_in(clinic["bo"]).post("/api/v1/successions/", body, format="json").status_code == 201
    assert [len(told(person)) for person in (clinic["iris"], leaving, clinic["ana"])] == [1, 1, 0]


def test_a_place_on_a_care_team_is_told_to_that_team_and_kept_from_the_childs_other(clinic):
    """The clinic's team learns of it; the school's neither is told nor finds it in the list."""
    body = {"episode": str(clinic["episode"].pk), "staff": str(clinic["bo"].pk), "starts_on": str(TODAY)}
    place = put(clinic["bo"], "care-team", body)
    assert [len(told(clinic[name])) for name in ("iris", "ana", "nell")] == [1, 1, 0]
    expected = [("care_team", str(clinic["bo"].pk), place["id"])]
    assert (listed(clinic["ana"]), listed(clinic["iris"]), listed(clinic["nell"])) == (expected, expected, [])
