"""Emergency access: any clinician gets what a child's safety rests on at once, says why after, and all are told."""

from datetime import timedelta

import pytest
import time_machine

from clinic.enums import Role
from clinic.models import AuditEvent, Contact, ContactAuthority, CourtOrder, EmergencyAccess, Notice, Precaution
from clinic.services import emergencies
from tests import factories as make
from tests.clinic.asking import faults
from tests.clinic.conftest import ASKED_ON

pytestmark = pytest.mark.django_db
START = make.datetime.fromisoformat(ASKED_ON)
WHY = {"reason": "Seizure in the gym"}


@pytest.fixture
def clinic():
    """A child with her assistant, the therapist who answers for her, an administrator, and two who have no part."""
    organization = make.make_organization()
    site = make.make_site(organization)
    child = make.make_client(site, given_name="Mirela", preferred_name="Miri", family_name="Oduya")
    people = {
        "ana": make.make_staff(organization, Role.ASSISTANT),
        "ruth": make.make_staff(organization, Role.THERAPIST),
        "iris": make.make_staff(organization, Role.ADMINISTRATOR),
        "nell": make.make_staff(organization, Role.ASSISTANT),
        "desk": make.make_staff(organization, Role.FRONT_DESK),
    }
    make.put_on_team(people["ana"], make.make_episode(child))
    make.make_supervision(people["ana"], people["ruth"])
    add_precaution(child, people["ana"], kind="positioning", text="Seated with support")
    add_precaution(child, people["ana"], kind="allergy", text="Bee stings")
    add_precaution(child, people["ana"], kind="seizure_plan", text="Lay on the side, note the time")
    return {"organization": organization, "site": site, "child": child, **people}


def add_precaution(child, by, **over):
    given = {"set_by": "physician", "may_be_lifted_by": "physician", "starts_on": make.LONG_AGO, **over}
    return Precaution.objects.create(organization_id=child.organization_id, client=child, recorded_by=by, **given)


def put_beside(child, name, kind, **over):
    contact = Contact.objects.create(organization_id=child.organization_id, name=name, phone="+1 312 555 0142")
    ContactAuthority.objects.create(
        organization_id=child.organization_id,
        client=child,
        contact=contact,
        kind=kind,
        relationship="parent",
        starts_on=make.LONG_AGO,
        **over,
    )
    return contact


def call(staff, **asked):
    return make.signed_in(staff).post("/api/v1/emergency-accesses/", asked, format="json")


def later(staff, path, body=None, *, after=timedelta(0)):
    """What she gets at a path below the emergency accesses, some time after the call."""
    with time_machine.travel(START + after, tick=False):
        api = make.signed_in(staff)
        url = f"/api/v1/emergency-accesses/{path}"
        return api.get(url) if body is None else api.post(url, body, format="json")


def told(staff, kind="emergency_access"):
    return [row.subject_id for row in Notice.objects.filter(recipient=staff, kind=kind)]


def test_a_clinician_without_any_part_gets_the_card_at_once(clinic):
    """By a word of a name that one child bears; a seizure plan first, then allergies, then the rest."""
    put_beside(clinic["child"], "Tamsin Oduya", "emergency_contact")
    answer = call(clinic["nell"], name="miri")
    assert answer.status_code == 201, answer.content
    card = answer.json()["card"]
    assert [row["text"] for row in card["precautions"]] == [
        "Lay on the side, note the time",
        "Bee stings",
        "Seated with support",
    ]
    assert (card["given_name"], card["contacts_are"]) == ("Mirela", "emergency_contact")
    assert card["contacts"] == [
        {"name": "Tamsin Oduya", "phone": "+1 312 555 0142", "language": "en", "relationships": ["parent"]}
    ]
    assert answer.json()["access"]["reason"] is None


def test_it_opens_the_card_and_nothing_more(clinic):
    """The child, her precautions and contacts stay out of reach at their own doors."""
    call(clinic["nell"], client=str(clinic["child"].pk))
    api = make.signed_in(clinic["nell"])
    assert api.get(f"/api/v1/clients/{clinic['child'].pk}/").status_code == 404
    for path in ("clients", "precautions", "contacts", "episodes"):
        assert api.get(f"/api/v1/{path}/").json()["results"] == []


def test_lifted_precautions_are_not_on_the_card(clinic):
    """It says what is to be heeded today."""
    lifted = {"lifted_on": make.LONG_AGO, "lifted_by": "physician", "lifted_recorded_by": clinic["ana"]}
    add_precaution(clinic["child"], clinic["ana"], kind="loading", text="No weight on the left arm", **lifted)
    card = call(clinic["nell"], client=str(clinic["child"].pk)).json()["card"]
    assert "No weight on the left arm" not in [row["text"] for row in card["precautions"]]


def test_without_an_emergency_contact_whoever_consents_stands_in(clinic):
    """And whom a court has barred is on no card."""
    father = put_beside(clinic["child"], "Oren Oduya", "emergency_contact")
    put_beside(clinic["child"], "Tamsin Oduya", "consent_to_care")
    CourtOrder.objects.create(
        organization=clinic["organization"],
        client=clinic["child"],
        contact=father,
        right="emergency_contact",
        starts_on=make.LONG_AGO,
        recorded_by=clinic["iris"],
        recorded_at=START,
    )
    card = call(clinic["nell"], client=str(clinic["child"].pk)).json()["card"]
    assert card["contacts_are"] == "consent_to_care"
    assert [row["name"] for row in card["contacts"]] == ["Tamsin Oduya"]


def test_everybody_concerned_is_told_at_once(clinic):
    """Who treats, who answers for her and the administrators; nobody else; she herself that she owes a reason."""
    access = EmergencyAccess.objects.get(pk=call(clinic["nell"], name="Oduya").json()["access"]["id"])
    for name in ("ana", "ruth", "iris"):
        assert told(clinic[name]) == [access.pk]
    for name in ("nell", "desk"):
        assert told(clinic[name]) == []
    assert told(clinic["nell"], "emergency_reason_owed") == [access.pk]


def test_of_several_she_chooses_one(clinic):
    """No card before; every child whose name was shown stands in the trail; administrators know of the asking."""
    twin = make.make_client(clinic["site"], given_name="Milo", family_name="Oduya")
    answer = call(clinic["nell"], name="oduya").json()
    assert answer["card"] is None
    assert [row["given_name"] for row in answer["children"]] == ["Milo", "Mirela"]
    event = AuditEvent.objects.get(actor=clinic["nell"])
    assert {client for client, _ in event.touched} == {twin.pk, clinic["child"].pk}
    assert (len(told(clinic["iris"])), told(clinic["ana"])) == (1, [])

    access = answer["access"]["id"]
    chosen = later(clinic["nell"], f"{access}/choose/", {"client": str(clinic["child"].pk)})
    assert chosen.json()["card"]["given_name"] == "Mirela"
    assert (len(told(clinic["iris"])), len(told(clinic["ana"]))) == (1, 1)
    again = later(clinic["nell"], f"{access}/choose/", {"client": str(twin.pk)})
    assert (again.status_code, again.json()["code"]) == (409, "child_chosen_already")


def test_the_card_is_there_for_an_hour(clinic):
    """Then it is not, not even to a repeat of the request under its key."""
    body, url = {"client": str(clinic["child"].pk)}, "/api/v1/emergency-accesses/"
    with time_machine.travel(START, tick=False):
        key = {"HTTP_IDEMPOTENCY_KEY": make.new_id()}
        first = make.signed_in(clinic["nell"]).post(url, body, format="json", **key)
    access = first.json()["access"]["id"]
    almost, over = timedelta(minutes=59), timedelta(hours=1)
    assert later(clinic["nell"], f"{access}/card/", after=almost).json()["card"] == first.json()["card"]
    assert later(clinic["nell"], f"{access}/card/", after=over).status_code == 404
    for after, status in ((almost, 201), (over, 404)):
        with time_machine.travel(START + after, tick=False):
            assert make.signed_in(clinic["nell"]).post(url, body, format="json", **key).status_code == status


def test_the_reason_is_given_once_afterwards(clinic):
    """Those concerned read it; it stays; until then the access is listed as unexplained."""
    access = call(clinic["nell"], name="Miri").json()["access"]["id"]
    assert [row["id"] for row in later(clinic["iris"], "?explained=false").json()["results"]] == [access]
    given = later(clinic["nell"], f"{access}/explain/", WHY, after=timedelta(hours=3))
    assert (given.status_code, given.json()["reason"]) == (200, WHY["reason"])
    again = later(clinic["nell"], f"{access}/explain/", {"reason": "Another"}, after=timedelta(hours=4))
    assert (again.status_code, again.json()["code"]) == (409, "explained_already")
    for name in ("ana", "ruth", "iris", "nell"):
        assert later(clinic[name], f"{access}/").json()["reason"] == WHY["reason"]
    assert later(clinic["iris"], "?explained=false").json()["results"] == []


def test_nobody_else_chooses_explains_or_reads_the_card(clinic):
    """Another clinician finds no such access; who does not treat the child does not see it either."""
    access = call(clinic["nell"], name="Miri").json()["access"]["id"]
    stranger = make.make_staff(clinic["organization"], Role.THERAPIST)
    for path, body in ((f"{access}/", None), (f"{access}/card/", None), (f"{access}/explain/", WHY)):
        assert later(stranger, path, body).status_code == 404
    assert later(clinic["ana"], f"{access}/card/").status_code == 404
    assert EmergencyAccess.objects.get().reason is None


def test_a_reason_that_stays_away_is_asked_for(clinic):
    """After a day she and the administrators are told, once; not before, and not when she gave it."""
    access = EmergencyAccess.objects.get(pk=call(clinic["nell"], name="Miri").json()["access"]["id"])
    explained = call(clinic["nell"], name="Miri").json()["access"]["id"]
    later(clinic["nell"], f"{explained}/explain/", WHY)
    overdue = "emergency_reason_overdue"
    emergencies.ask_for_explanations(now=access.begun_at + timedelta(hours=24) - timedelta(seconds=1))
    assert told(clinic["nell"], overdue) == []
    for hours in (24, 48):
        emergencies.ask_for_explanations(now=access.begun_at + timedelta(hours=hours))
    assert told(clinic["nell"], overdue) == told(clinic["iris"], overdue) == [access.pk]


@pytest.mark.parametrize("name", ["desk", "iris"])
def test_who_is_no_clinician_has_no_emergency_access(clinic, name):
    """Neither the front desk nor an administrator treats a child."""
    assert call(clinic[name], name="Miri").status_code == 403


def test_a_child_of_another_organization_is_not_there(clinic):
    """Neither by its id nor by its name, and no row is left."""
    foreign = make.make_client(make.make_site(make.make_organization(name="Elsewhere")), given_name="Zora")
    for asked, member in (({"client": str(foreign.pk)}, "/client"), ({"name": "Zora"}, "/name")):
        answer = call(clinic["nell"], **asked)
        assert (answer.status_code, faults(answer)) == (422, [(member, "not_found")])
    assert EmergencyAccess.objects.count() == 0


@pytest.mark.parametrize("asked", [{}, {"name": "M"}, {"name": "Miri", "client": make.new_id()}])
def test_one_child_is_asked_for_in_one_way(clinic, asked):
    """By its id or by at least two letters of its name."""
    assert call(clinic["nell"], **asked).status_code == 400
