"""Who has seen a record, and what of it went out: two accounts, kept apart."""

from datetime import date, timedelta

import pytest

from clinic.enums import RecordRegime, Role, Setting
from clinic.models import AuditEvent, AuditEventClient, ChangeFeed, Consent, Contact, Disclosure
from tests import factories as make
from tests.clinic.asking import faults

pytestmark = pytest.mark.django_db
TODAY = date(2026, 11, 25)


@pytest.fixture
def clinic():
    """A child in clinic therapy and in school therapy, her assistant, the therapist, and an administrator."""
    organization = make.make_organization()
    site = make.make_site(organization)
    child = make.make_client(site)
    people = {
        "ana": make.make_staff(organization, Role.ASSISTANT, printed_name="Ana Brandt"),
        "ruth": make.make_staff(organization, Role.THERAPIST, printed_name="Ruth Imber"),
        "iris": make.make_staff(organization, Role.ADMINISTRATOR),
    }
    episode = make.make_episode(child)
    school = make.make_episode(child, setting=Setting.SCHOOL.value, record_regime=RecordRegime.EDUCATION.value)
    for person in ("ana", "ruth"):
        make.put_on_team(people[person], episode)
    apis = {name: make.signed_in(person) for name, person in people.items()}
    return {"organization": organization, "child": child, "episode": episode, "school": school, **people, "api": apis}


def said(episode, **over):
    given = {
        "episode": str(episode.pk),
        "disclosed_on": "2026-11-20",
        "recipient": "County court",
        "what": "Notes of October",
        "purpose": "Ordered for a hearing",
        "authority": "court_order",
        **over,
    }
    return {name: value for name, value in given.items() if value is not None}


def put(clinic, who="iris", *, row_id=None, **body):
    return clinic["api"][who].put(
        f"/api/v1/disclosures/{row_id or make.new_id()}/", said(body.pop("episode", clinic["episode"]), **body), "json"
    )


def listed(clinic, who="iris", **asked):
    answer = clinic["api"][who].get(f"/api/v1/clients/{clinic['child'].pk}/disclosures/", asked)
    assert answer.status_code == 200, answer.content
    return answer.json()["results"]


def release(clinic, **over):
    contact = Contact.objects.create(organization=clinic["organization"], name="Mira Oduya")
    given = {"kind": "release", "starts_on": date(2026, 1, 1), "given_by": contact, **over}
    return Consent.objects.create(organization=clinic["organization"], client=clinic["child"], **given)


def test_what_went_out_is_recorded(clinic):
    """What, to whom, when, why, by what right; who recorded it; the feed tells of it."""
    answer = put(clinic, "ruth", requested_on="2026-11-18", recipient_address="12 Mill Street")
    assert answer.status_code == 201, answer.content
    shown = answer.json()
    assert (shown["client"], shown["record_regime"]) == (str(clinic["child"].pk), "health_record")
    assert (shown["recorded_by"], shown["requested_on"]) == (str(clinic["ruth"].pk), "2026-11-18")
    assert listed(clinic) == [shown]
    assert ChangeFeed.objects.get(record_id=shown["id"]).record_kind == "disclosure"


def test_it_stays_as_it_was_recorded(clinic):
    """The same again answers the same; something else is refused; nothing is written."""
    row_id = make.new_id()
    first = put(clinic, row_id=row_id)
    again = put(clinic, row_id=row_id)
    assert (again.status_code, again.json()) == (200, first.json())
    other = clinic["api"]["iris"].put(
        f"/api/v1/disclosures/{row_id}/", said(clinic["episode"], recipient="Another"), "json", HTTP_IF_MATCH='"1"'
    )
    assert other.status_code == 422
    assert Disclosure.objects.get().recipient == "County court"


@pytest.mark.parametrize(
    ("body", "fault"),
    [
        ({"disclosed_on": None}, ("/disclosed_on", "no_day")),
        ({"requested_on": "2026-11-21"}, ("/disclosed_on", "before_request")),
        ({"recipient": ""}, ("/recipient", "blank")),
        ({"purpose": None}, ("/purpose", "required")),
        ({"authority": "because"}, ("/authority", "invalid_choice")),
        ({"consent": make.new_id()}, ("/consent", "not_by_consent")),
    ],
)
def test_a_malformed_disclosure_is_refused(clinic, body, fault):
    answer = put(clinic, **body)
    assert answer.status_code == 400
    assert fault in faults(answer)
    assert not Disclosure.objects.exists()


@pytest.mark.parametrize(
    ("over", "in_force"),
    [({}, True), ({"ends_on": date(2026, 11, 19)}, False), ({"revoked_on": date(2026, 11, 20)}, False)],
)
def test_a_consent_that_did_not_hold_is_told_not_refused(clinic, over, in_force):
    """What went out is recorded, and shown for what it rests on."""
    answer = put(clinic, authority="authorization", consent=str(release(clinic, **over).pk))
    assert (answer.status_code, answer.json()["consent_was_in_force"]) == (201, in_force)


def test_a_consent_to_something_else_is_no_authorization(clinic):
    """Nor is another child's: it is refused as one that is not there."""
    answer = put(clinic, authority="authorization", consent=str(release(clinic, kind="photo").pk))
    assert (answer.status_code, faults(answer)) == (422, [("/consent", "not_found")])


def test_another_row_takes_the_place_of_a_wrong_one(clinic):
    """Both stay; the account lists the later; a second one in the same place is refused."""
    wrong = put(clinic, recipient="Cuonty cuort").json()["id"]
    right = put(clinic, replaces=wrong).json()["id"]
    assert {row["id"]: row["replaced_by"] for row in listed(clinic)} == {wrong: right, right: None}
    assert [row["id"] for row in listed(clinic, account="true")] == [right]
    assert put(clinic, replaces=wrong).json()["code"] == "disclosure_already_replaced"


def test_an_account_lists_what_each_law_wants(clinic):
    """Health: six years of disclosures. Education: requests too, and as far back as the record goes."""
    put(clinic, what="in")
    put(clinic, what="for care", authority="treatment_payment_operations")
    put(clinic, what="to a parent", authority="to_the_family")
    put(clinic, what="long ago", disclosed_on="2020-11-24")
    put(clinic, what="six years ago", disclosed_on="2020-11-25")
    put(clinic, what="asked only", disclosed_on=None, requested_on="2026-11-01")
    school = {"episode": clinic["school"]}
    put(clinic, what="school: long ago", disclosed_on="2019-01-01", **school)
    put(clinic, what="school: asked only", disclosed_on=None, requested_on="2026-11-01", **school)
    put(clinic, what="school: its own staff", authority="school_official", **school)
    account = {row["what"] for row in listed(clinic, account="true")}
    assert account == {"in", "six years ago", "school: long ago", "school: asked only"}
    day_before = str(TODAY - timedelta(days=1))
    assert "long ago" in {row["what"] for row in listed(clinic, account="true", asked_on=day_before)}
    assert len(listed(clinic)) == 9


def test_a_therapist_sees_what_went_out_of_her_own_episode(clinic):
    """Reach to one episode opens no other's account."""
    put(clinic, what="of the school", episode=clinic["school"])
    put(clinic, what="of the clinic")
    assert [row["what"] for row in listed(clinic, "ruth")] == ["of the clinic"]
    assert faults(put(clinic, "ruth", episode=clinic["school"])) == [("/episode", "not_found")]


def accesses(clinic):
    answer = clinic["api"]["iris"].get(f"/api/v1/clients/{clinic['child'].pk}/accesses/")
    assert answer.status_code == 200, answer.content
    return answer.json()["results"]


def test_who_has_seen_the_record(clinic):
    """Each request that showed it: who, by which action. A refusal showed nothing, nor does another child's read."""
    child = clinic["child"].pk
    assert clinic["api"]["ana"].get(f"/api/v1/clients/{child}/").status_code == 200
    assert clinic["api"]["ruth"].get("/api/v1/episodes/").status_code == 200
    assert clinic["api"]["ana"].get(f"/api/v1/clients/{child}/disclosures/").status_code == 403
    other = make.make_client(clinic["child"].home_site)
    assert clinic["api"]["iris"].get(f"/api/v1/clients/{other.pk}/").status_code == 200
    seen = accesses(clinic)
    assert [(row["staff_name"], row["action"], row["episodes"]) for row in seen] == [
        ("Ruth Imber", "episodes:read", [str(clinic["episode"].pk)]),
        ("Ana Brandt", "clients:read", []),
    ]
    assert accesses(clinic)[0]["action"] == "accesses:read"


def test_an_older_event_s_child_is_found_as_well(clinic):
    """Events of before named their children in a table of their own."""
    clinic["api"]["iris"].get("/api/v1/organization/")
    event = AuditEvent.objects.latest("at")
    AuditEventClient.objects.create(
        organization=clinic["organization"], event=event, client=clinic["child"], episode=clinic["episode"], at=event.at
    )
    (row,) = accesses(clinic)
    assert (row["action"], row["episodes"]) == ("organization:read", [str(clinic["episode"].pk)])
