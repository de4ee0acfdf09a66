"""The people beside a child over HTTP: reach through the children, authorities by day."""

from datetime import date

import pytest

from clinic.enums import AuthorityKind, Relationship, Role
from clinic.models import AuditEvent, ChangeFeed, Contact, ContactAuthority
from tests import factories as make
from tests.clinic.asking import cost_of, faults, ids, recorded

pytestmark = pytest.mark.django_db


@pytest.fixture
def team():
    organization = make.make_organization()
    site = make.make_site(organization)
    child, other = make.make_client(site), make.make_client(site)
    found = {
        "organization": organization,
        "site": site,
        "child": child,
        "other": other,
        "assistant": make.make_staff(organization, Role.ASSISTANT),
        "therapist": make.make_staff(organization, Role.THERAPIST),
        "desk": make.make_staff(organization, Role.FRONT_DESK),
    }
    episode = make.make_episode(child)
    for who in ("assistant", "therapist"):
        make.put_on_team(found[who], episode)
    return found


def beside(child, name="Tamsin", **over):
    contact = Contact.objects.create(organization_id=child.organization_id, name=name)
    ContactAuthority.objects.create(
        **{
            "organization_id": child.organization_id,
            "contact": contact,
            "client": child,
            "relationship": Relationship.PARENT.value,
            "kind": AuthorityKind.INFORMATION.value,
            "starts_on": make.LONG_AGO,
            **over,
        }
    )
    return contact


def put(team, path, asked, who="therapist", row_id=None):
    return make.signed_in(team[who]).put(f"/api/v1/{path}/{row_id or make.new_id()}/", asked, format="json")


def patch(team, path, asked, who="therapist", version=1):
    return make.signed_in(team[who]).patch(f"/api/v1/{path}/", asked, format="json", HTTP_IF_MATCH=f'"{version}"')


def authority(team, contact, **over):
    return {
        "contact": str(contact),
        "client": str(team["child"].pk),
        "relationship": "parent",
        "kind": "information",
        "starts_on": "2026-01-01",
        **over,
    }


def test_a_contact_is_entered_and_put_beside_a_child(team):
    """Whoever entered her can finish; then the assistant reaches her through the child."""
    row_id = make.new_id()
    asked = {"name": "Tamsin Oduya", "phone": "+1 312 555 0142", "email": "t@example.org"}
    first, again = (put(team, "contacts", asked, row_id=row_id) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 200)
    assert (first.json()["language"], first.json()["may_be_messaged"]) == ("en", False)
    url = f"/api/v1/contacts/{row_id}/"
    assert make.signed_in(team["assistant"]).get(url).status_code == 404
    assert put(team, "contact-authorities", authority(team, row_id)).status_code == 201
    assert make.signed_in(team["assistant"]).get(url).status_code == 200


def test_a_contact_is_reached_through_her_children(team):
    """Beside a child out of reach she does not exist, for the therapist; the front desk sees the organization's."""
    mine, theirs = beside(team["child"]), beside(team["other"], name="Yusuf")
    api = make.signed_in(team["therapist"])
    assert ids(api.get("/api/v1/contacts/")) == [str(mine.pk)]
    assert api.get(f"/api/v1/contacts/{theirs.pk}/").status_code == 404
    assert patch(team, f"contacts/{theirs.pk}", {"name": "X"}).status_code == 404
    answer = put(team, "contact-authorities", authority(team, theirs.pk))
    assert (answer.status_code, faults(answer)) == (422, [("/contact", "not_found")])
    assert ids(make.signed_in(team["desk"]).get("/api/v1/contacts/")) == [str(mine.pk), str(theirs.pk)]


def test_a_filter_by_child_tells_nothing_of_a_child_out_of_reach(team):
    """A contact of two children is not found by the one who is out of reach."""
    contact = beside(team["child"])
    ContactAuthority.objects.create(
        organization=team["organization"],
        contact=contact,
        client=team["other"],
        relationship="parent",
        kind="information",
        starts_on=make.LONG_AGO,
    )
    api = make.signed_in(team["therapist"])
    assert ids(api.get(f"/api/v1/contacts/?client={team['child'].pk}")) == [str(contact.pk)]
    assert ids(api.get(f"/api/v1/contacts/?client={team['other'].pk}")) == []
    assert len(ids(api.get("/api/v1/contact-authorities/"))) == 1
    event = AuditEvent.objects.filter(route="api/v1/contacts/").order_by("id").first()
    assert event.client_ids == [team["child"].pk]


def test_a_change_is_told_of_each_child(team):
    contact = beside(team["child"])
    answer = patch(team, f"contacts/{contact.pk}", {"phone": "+1 312 555 0177"})
    assert (answer.status_code, answer["ETag"], answer.json()["name"]) == (200, '"2"', "Tamsin")
    assert ChangeFeed.objects.get(record_id=contact.pk).client_id == team["child"].pk


def test_another_organizations_contact_does_not_exist(team):
    elsewhere = make.make_client(make.make_site(make.make_organization(name="Elsewhere")))
    contact = beside(elsewhere)
    api = make.signed_in(team["desk"])
    assert api.get(f"/api/v1/contacts/{contact.pk}/").status_code == 404
    assert api.get(f"/api/v1/contact-authorities/{contact.authorities.get().pk}/").status_code == 404
    assert faults(put(team, "contact-authorities", authority(team, contact.pk), "desk")) == [("/contact", "not_found")]


def test_an_authority_is_held_once_and_ended(team):
    """The same one on some of the days is refused; another kind, and the days after, are free."""
    contact = beside(team["child"], kind=AuthorityKind.PICK_UP.value).pk
    made = put(team, "contact-authorities", authority(team, contact, court_order=True))
    before = recorded()
    twice = put(team, "contact-authorities", authority(team, contact, starts_on="2026-05-01"))
    assert (twice.status_code, twice.json()["code"]) == (409, "authority_overlaps")
    assert recorded() == before
    ended = patch(team, f"contact-authorities/{made.json()['id']}", {"ends_on": "2026-04-30"})
    assert (ended.status_code, ended.json()["ends_on"]) == (200, "2026-04-30")
    assert put(team, "contact-authorities", authority(team, contact, starts_on="2026-05-01")).status_code == 201
    on = make.signed_in(team["desk"]).get("/api/v1/contact-authorities/?on=2026-04-30").json()["results"]
    assert [(row["kind"], row["court_order"]) for row in on] == [("information", True), ("pick_up", False)]


@pytest.mark.parametrize(
    ("path", "change", "status", "fault"),
    [
        pytest.param("contacts", {"email": "nowhere"}, 400, ("/email", "invalid"), id="no address"),
        pytest.param("contacts", {"language": "English"}, 400, ("/language", "invalid"), id="a language's name"),
        pytest.param("contacts", {"name": ""}, 400, ("/name", "blank"), id="no name"),
        pytest.param("contacts", {"may_be_messaged": 1}, 400, ("/may_be_messaged", "invalid"), id="a number"),
        pytest.param("contact-authorities", {"kind": "veto"}, 400, ("/kind", "invalid_choice"), id="no such authority"),
        pytest.param("contact-authorities", {"client": make.new_id()}, 422, ("/client", "not_found"), id="no child"),
        pytest.param("contact-authorities", {"ends_on": "2025-12-31"}, 400, ("/ends_on", "before_start"), id="days"),
    ],
)
def test_a_wrong_member_is_pointed_at(team, path, change, status, fault):
    contact = beside(team["child"], kind=AuthorityKind.PICK_UP.value).pk
    before = recorded()
    asked = {"name": "Tamsin"} if path == "contacts" else authority(team, contact)
    answer = put(team, path, {**asked, **change})
    assert (answer.status_code, faults(answer)) == (status, [fault])
    assert (Contact.objects.count(), ContactAuthority.objects.count(), recorded()) == (1, 1, before)


def test_an_assistant_reads_and_does_not_write(team):
    contact = beside(team["child"])
    assert put(team, "contacts", {"name": "X"}, "assistant").status_code == 403
    assert patch(team, f"contacts/{contact.pk}", {"name": "X"}, "assistant").status_code == 403
    assert put(team, "contact-authorities", authority(team, contact.pk), "assistant").status_code == 403


def test_what_ended_long_ago_still_shows_who_stood_there(team):
    contact = beside(team["child"], ends_on=date(2025, 6, 30))
    assert ids(make.signed_in(team["assistant"]).get("/api/v1/contacts/")) == [str(contact.pk)]


@pytest.mark.parametrize("path", ["contacts", "contact-authorities"])
@pytest.mark.parametrize("who", ["therapist", "desk"])
def test_the_lists_cost_the_same_for_one_and_for_six(team, path, who):
    api = make.signed_in(team[who])
    beside(team["child"])
    one, cost = cost_of(api, f"/api/v1/{path}/")
    for _ in range(5):
        beside(team["child"])
    assert (one, cost_of(api, f"/api/v1/{path}/")) == (1, (6, cost))
