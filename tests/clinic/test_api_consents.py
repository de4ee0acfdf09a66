"""Consents over HTTP: by whom, for what, until when, taken back."""

import pytest

from clinic.enums import Role, Setting
from clinic.models import Consent, Contact, ContactAuthority, CourtOrder
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
        "child": child,
        "episode": make.make_episode(child),
        "school": make.make_episode(child, setting=Setting.SCHOOL.value, record_regime="education_record"),
        "mother": Contact.objects.create(organization=organization, name="Tamsin"),
        "teacher": Contact.objects.create(organization=organization, name="Yusuf"),
        "therapist": make.make_staff(organization, Role.THERAPIST),
        "assistant": make.make_staff(organization, Role.ASSISTANT),
        "desk": make.make_staff(organization, Role.FRONT_DESK),
    }
    held = (("mother", "consent_to_care"), ("mother", "educational_decisions"), ("teacher", "information"))
    for who, kind in held:
        ContactAuthority.objects.create(
            organization=organization,
            contact=found[who],
            client=child,
            relationship="other",
            kind=kind,
            starts_on=make.LONG_AGO,
        )
    for who in ("therapist", "assistant"):
        make.put_on_team(found[who], found["episode"])
    return found


def put(team, who="therapist", row_id=None, **over):
    asked = {
        "client": str(team["child"].pk),
        "kind": "treat",
        "given_by": str(team["mother"].pk),
        "starts_on": "2026-02-20",
        **over,
    }
    return make.signed_in(team[who]).put(f"/api/v1/consents/{row_id or make.new_id()}/", asked, format="json")


def revoke(team, row_id, on, who="therapist", version=1):
    return make.signed_in(team[who]).post(
        f"/api/v1/consents/{row_id}/revoke/", {"revoked_on": on}, format="json", HTTP_IF_MATCH=f'"{version}"'
    )


def test_a_consent_holds_from_its_day_until_it_is_taken_back(team):
    """The day of revocation no longer counts; a second revocation is refused."""
    made = put(team, ends_on="2027-02-19")
    assert (made.status_code, made.json()["revoked_on"], made.json()["episode"]) == (201, None, None)
    row_id, api = made.json()["id"], make.signed_in(team["assistant"])
    assert revoke(team, row_id, "2026-06-01").json()["revoked_on"] == "2026-06-01"
    on = {day: ids(api.get(f"/api/v1/consents/?on={day}")) for day in ("2026-02-19", "2026-05-31", "2026-06-01")}
    assert on == {"2026-02-19": [], "2026-05-31": [row_id], "2026-06-01": []}
    again = revoke(team, row_id, "2026-07-01", version=2)
    assert (again.status_code, again.json()["code"]) == (409, "already_revoked")


def test_a_consent_is_not_revoked_before_it_began(team):
    row_id = put(team).json()["id"]
    before = recorded()
    answer = revoke(team, row_id, "2026-02-19")
    assert (answer.status_code, faults(answer)) == (422, [("/revoked_on", "before_start")])
    assert (Consent.objects.get().revoked_on, recorded()) == (None, before)


@pytest.mark.parametrize(("kind", "status"), [("treat", 422), ("video", 422), ("release", 422), ("messages", 201)])
def test_whoever_may_not_decide_consents_only_for_herself(team, kind, status):
    """A teacher with information rights: to messages, to nothing else."""
    answer = put(team, given_by=str(team["teacher"].pk), kind=kind)
    assert answer.status_code == status
    if status == 422:
        assert faults(answer) == [("/given_by", "no_authority")]
        assert Consent.objects.count() == 0


def test_the_authority_is_asked_for_the_first_day(team):
    """Before the mother's authority begins she could not consent."""
    assert faults(put(team, starts_on="2024-12-31")) == [("/given_by", "no_authority")]


@pytest.mark.parametrize(
    ("change", "status", "fault"),
    [
        pytest.param({"client": make.new_id()}, 422, ("/client", "not_found"), id="no child"),
        pytest.param({"episode": "school"}, 422, ("/episode", "not_found"), id="an episode out of reach"),
        pytest.param({"given_by": make.new_id()}, 422, ("/given_by", "not_found"), id="nobody"),
        pytest.param({"kind": "everything"}, 400, ("/kind", "invalid_choice"), id="no such consent"),
        pytest.param({"ends_on": "2026-02-19"}, 400, ("/ends_on", "before_start"), id="days"),
        pytest.param({"revoked_on": None}, 400, ("/revoked_on", "unknown_member"), id="revoked at once"),
    ],
)
def test_a_wrong_member_is_pointed_at(team, change, status, fault):
    before = recorded()
    answer = put(team, **{name: str(team[v].pk) if v in team else v for name, v in change.items()})
    assert (answer.status_code, faults(answer)) == (status, [fault])
    assert (Consent.objects.count(), recorded()) == (0, before)


def test_a_contact_of_another_child_does_not_consent(team):
    stranger = Contact.objects.create(organization=team["organization"], name="Somebody")
    assert faults(put(team, given_by=str(stranger.pk))) == [("/given_by", "not_found")]


def test_a_consent_of_another_episode_is_out_of_reach(team):
    """The child is in reach, the school's consent is not; the front desk sees both."""
    mine = put(team, episode=str(team["episode"].pk)).json()["id"]
    school = put(team, "desk", episode=str(team["school"].pk)).json()["id"]
    api = make.signed_in(team["therapist"])
    assert api.get(f"/api/v1/consents/{school}/").status_code == 404
    assert revoke(team, school, "2026-06-01").status_code == 404
    assert ids(api.get("/api/v1/consents/")) == [mine]
    assert sorted(ids(make.signed_in(team["desk"]).get("/api/v1/consents/"))) == sorted([mine, school])


def test_another_organizations_consent_does_not_exist(team):
    row_id = put(team).json()["id"]
    stranger = make.make_staff(make.make_organization(name="Elsewhere"), Role.ADMINISTRATOR)
    assert make.signed_in(stranger).get(f"/api/v1/consents/{row_id}/").status_code == 404
    assert revoke({"therapist": stranger}, row_id, "2026-06-01").status_code == 404


def test_a_consent_stays_as_it_was_recorded_and_the_assistant_writes_none(team):
    row_id = put(team).json()["id"]
    assert put(team, row_id=row_id, kind="photo").status_code == 428
    assert put(team, "assistant").status_code == 403
    assert revoke(team, row_id, "2026-06-01", "assistant").status_code == 403
    assert Consent.objects.get().kind == "treat"


def test_the_list_is_filtered(team):
    photo = put(team, kind="photo").json()["id"]
    put(team)
    api = make.signed_in(team["desk"])
    assert ids(api.get(f"/api/v1/consents/?kind=photo&client={team['child'].pk}")) == [photo]
    assert ids(api.get(f"/api/v1/consents/?client={make.new_id()}")) == []


def test_the_list_costs_the_same_for_one_and_for_six(team):
    api = make.signed_in(team["therapist"])
    put(team)
    one, cost = cost_of(api, "/api/v1/consents/")
    for _ in range(5):
        put(team)
    assert (one, cost_of(api, "/api/v1/consents/")) == (1, (6, cost))


def test_for_the_school_s_record_it_takes_authority_over_schooling(team):
    """Who consents to care decides on the clinic's episode, and not on the school's."""
    ContactAuthority.objects.filter(kind="educational_decisions").update(ends_on="2026-02-19")
    assert put(team, episode=str(team["episode"].pk)).status_code == 201
    refused = put(team, "desk", episode=str(team["school"].pk))
    assert faults(refused) == [("/given_by", "no_authority")]
    assert Consent.objects.count() == 1


def test_a_consent_accepted_from_another_is_recorded_with_its_exception_and_flagged(team):
    """The record refuses nothing that happened: it says what was told instead, and that the authority was not there."""
    told = "The mother agreed by telephone, the letter follows"
    answer = put(team, given_by=str(team["teacher"].pk), exception=told)
    assert answer.status_code == 201
    assert (answer.json()["exception"], answer.json()["given_with_authority"]) == (told, False)
    own = put(team).json()
    assert (own["exception"], own["given_with_authority"]) == ("", True)


def test_a_court_order_found_later_flags_what_was_given_under_it(team):
    """By what is recorded now, the consent of a day on which a court had taken the right was not backed."""
    given = put(team, starts_on="2026-02-20").json()
    earlier = put(team, starts_on="2026-02-13").json()
    CourtOrder.objects.create(
        organization=team["organization"],
        client=team["child"],
        contact=team["mother"],
        right="consent_to_care",
        starts_on="2026-02-14",
        recorded_by=team["therapist"],
        recorded_at=make.at("2026-03-02 09:00"),
    )
    ContactAuthority.objects.filter(kind="educational_decisions").delete()
    shown = make.signed_in(team["therapist"]).get("/api/v1/consents/").json()["results"]
    assert {row["id"]: row["given_with_authority"] for row in shown} == {given["id"]: False, earlier["id"]: True}
    assert faults(put(team, starts_on="2026-02-20")) == [("/given_by", "no_authority")]


def taken_back(team, row_id, **asked):
    return make.signed_in(team["therapist"]).post(
        f"/api/v1/consents/{row_id}/revoke/", {"revoked_on": "2026-06-01", **asked}, format="json", HTTP_IF_MATCH='"1"'
    )


def test_whoever_gave_it_takes_it_back_although_her_authority_has_ended(team):
    """It is her own word; what was done before stays as it was."""
    row_id = put(team).json()["id"]
    ContactAuthority.objects.filter(contact=team["mother"]).update(ends_on="2026-05-01")
    answer = taken_back(team, row_id, revoked_by=str(team["mother"].pk))
    assert (answer.status_code, answer.json()["revoked_by"]) == (200, str(team["mother"].pk))


def test_another_takes_it_back_with_authority_or_by_a_stated_exception(team):
    """A teacher may not; that it was accepted from her all the same is recorded, never lost."""
    row_id, teacher = put(team).json()["id"], str(team["teacher"].pk)
    refused = taken_back(team, row_id, revoked_by=teacher)
    assert (refused.status_code, faults(refused)) == (422, [("/revoked_by", "no_authority")])
    assert Consent.objects.get().revoked_on is None
    answer = taken_back(team, row_id, revoked_by=teacher, exception="The mother is in hospital")
    assert answer.json()["revocation_exception"] == "The mother is in hospital"
    assert faults(taken_back(team, put(team).json()["id"], revoked_by=make.new_id())) == [("/revoked_by", "not_found")]
