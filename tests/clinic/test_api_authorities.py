"""Who may decide, know and pick up a child on a day, over HTTP; and what a court takes."""

from datetime import timedelta

import pytest
import time_machine

from clinic.enums import Role
from clinic.models import AuditEvent, Contact, ContactAuthority, CourtOrder
from tests import factories as make
from tests.clinic.asking import faults, ids, recorded

pytestmark = pytest.mark.django_db
NOON = make.at("2026-09-15 12:00")


@pytest.fixture(autouse=True)
def _that_day():
    with time_machine.travel(NOON, tick=False):
        yield


@pytest.fixture
def team():
    organization = make.make_organization()
    site = make.make_site(organization)
    child = make.make_client(site)
    found = {
        "organization": organization,
        "child": child,
        "other": make.make_client(site, given_name="Ilo"),
        "mother": Contact.objects.create(organization=organization, name="Tamsin"),
        "father": Contact.objects.create(organization=organization, name="Aurel"),
        "therapist": make.make_staff(organization, Role.THERAPIST),
        "off_team": make.make_staff(organization, Role.THERAPIST),
        "desk": make.make_staff(organization, Role.FRONT_DESK),
    }
    make.put_on_team(found["therapist"], make.make_episode(child))
    for who in ("mother", "father"):
        for kind in ("consent_to_care", "information", "pick_up"):
            grant(found, who, kind)
    return found


def grant(team, who, kind, **over):
    given = {"relationship": "parent", "starts_on": make.LONG_AGO, "client": team["child"], **over}
    ContactAuthority.objects.create(organization=team["organization"], contact=team[who], kind=kind, **given)


def rights(team, on=None, who="therapist"):
    query = f"?on={on}" if on else ""
    return make.signed_in(team[who]).get(f"/api/v1/clients/{team['child'].pk}/authorities/{query}")


def holders(team, right, on=None):
    names = {str(team[who].pk): who for who in ("mother", "father")}
    return [names[contact] for contact in rights(team, on).json()[right]]


def order(team, row_id=None, who="therapist", **over):
    asked = {
        "client": str(team["child"].pk),
        "contact": str(team["father"].pk),
        "right": "information",
        "starts_on": "2026-09-15",
        **over,
    }
    return make.signed_in(team[who]).put(f"/api/v1/court-orders/{row_id or make.new_id()}/", asked, format="json")


def test_it_says_who_holds_each_right_today(team):
    """The people by name, with what each holds, and the holders of each right."""
    shown = rights(team).json()
    assert (shown["client"], shown["on"]) == (str(team["child"].pk), "2026-09-15")
    assert [(one["contact"]["name"], one["relationships"], one["held"]) for one in shown["people"]] == [
        ("Aurel", ["parent"], ["consent_to_care", "information", "pick_up"]),
        ("Tamsin", ["parent"], ["consent_to_care", "information", "pick_up"]),
    ]
    assert shown["pick_up"] == [str(team["father"].pk), str(team["mother"].pk)]
    assert (shown["educational_decisions"], shown["observations"]) == ([], ["several_consent_to_care"])


def test_a_right_that_ended_yesterday_is_gone_today(team):
    """On its last day it holds, on the next it does not; a past day is answered as it was."""
    ContactAuthority.objects.filter(contact=team["father"], kind="pick_up").update(ends_on="2026-09-14")
    assert holders(team, "pick_up") == ["mother"]
    assert holders(team, "pick_up", "2026-09-14") == ["father", "mother"]


def test_a_court_order_takes_a_right_from_its_day_and_gives_it_back(team):
    """The mother keeps hers; the day before and the day after the order nothing is taken."""
    made = order(team, ends_on="2026-09-30")
    assert made.status_code == 201
    assert made.json()["recorded_at"] == "2026-09-15T17:00:00Z"
    held = {day: holders(team, "information", day) for day in ("2026-09-14", "2026-09-15", "2026-09-30", "2026-10-01")}
    both, one = ["father", "mother"], ["mother"]
    assert held == {"2026-09-14": both, "2026-09-15": one, "2026-09-30": one, "2026-10-01": both}
    (father, _) = rights(team).json()["people"]
    assert (father["held"], father["taken_by_court"]) == (["consent_to_care", "pick_up"], ["information"])


def test_an_order_is_lifted_by_its_last_day_and_says_no_other_thing_later(team):
    """Only the last day is set later; the same right twice on a day answers 409."""
    row_id = make.new_id()
    order(team, row_id)
    assert (again := order(team)).status_code == 409
    assert again.json()["code"] == "court_order_overlaps"
    changed = make.signed_in(team["therapist"]).patch(
        f"/api/v1/court-orders/{row_id}/", {"ends_on": "2026-09-15"}, format="json", HTTP_IF_MATCH='"1"'
    )
    assert (changed.status_code, changed.json()["version"]) == (200, 2)
    assert holders(team, "information", "2026-09-16") == ["father", "mother"]
    assert ids(make.signed_in(team["desk"]).get("/api/v1/court-orders/?on=2026-09-15")) == [row_id]
    assert ids(make.signed_in(team["desk"]).get("/api/v1/court-orders/?on=2026-09-16")) == []


@pytest.mark.parametrize(
    ("change", "status", "fault"),
    [
        pytest.param({"contact": make.new_id()}, 422, ("/contact", "not_found"), id="nobody"),
        pytest.param({"client": "other"}, 422, ("/client", "not_found"), id="a child out of reach"),
        pytest.param({"right": "none"}, 400, ("/right", "invalid_choice"), id="no right"),
        pytest.param({"ends_on": "2026-09-14"}, 400, ("/ends_on", "before_start"), id="days"),
    ],
)
def test_a_wrong_member_of_an_order_is_pointed_at(team, change, status, fault):
    before = recorded()
    answer = order(team, **{name: str(team[v].pk) if v in team else v for name, v in change.items()})
    assert (answer.status_code, faults(answer)) == (status, [fault])
    assert (CourtOrder.objects.count(), recorded()) == (0, before)


def test_who_stands_beside_another_child_is_not_shown(team):
    """The contact of another child, in reach or not, does not appear, and neither does her order."""
    grant(team, "mother", "emergency_contact", client=team["other"])
    assert rights(team).json()["emergency_contact"] == []
    assert rights(team, who="off_team").status_code == 404


def test_looking_stands_in_the_trail(team):
    """Who may decide is part of the child's record."""
    rights(team)
    (event,) = AuditEvent.objects.all()
    assert event.client_ids == [team["child"].pk]


def test_a_contact_says_by_which_channels_she_may_be_reached(team):
    """Each channel once, in one order; an unknown one is refused."""
    api, url = make.signed_in(team["therapist"]), f"/api/v1/contacts/{team['mother'].pk}/"
    changed = api.patch(url, {"channels": ["phone", "email", "phone"]}, format="json", HTTP_IF_MATCH='"1"')
    assert (changed.status_code, changed.json()["channels"]) == (200, ["email", "phone"])
    refused = api.patch(url, {"channels": ["pigeon"]}, format="json", HTTP_IF_MATCH='"2"')
    assert refused.status_code == 400
    assert Contact.objects.get(pk=team["mother"].pk).channels == ["email", "phone"]


def test_the_day_is_the_organization_s(team):
    """Late in the evening there it is tomorrow already in Greenwich; the right of tomorrow does not hold yet."""
    grant(team, "father", "emergency_contact", starts_on="2026-09-16")
    with time_machine.travel(make.at("2026-09-15 23:30"), tick=False):
        assert holders(team, "emergency_contact") == []
    with time_machine.travel(make.at("2026-09-15 23:30") + timedelta(hours=1), tick=False):
        assert holders(team, "emergency_contact") == ["father"]
