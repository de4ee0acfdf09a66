"""A colleague with an account tries to read or to change what is not hers."""

from datetime import timedelta

import pytest
import time_machine
from django.utils import timezone
from oauth2_provider.models import AccessToken, Application
from rest_framework.test import APIClient

from clinic.enums import Role, ScopeKind
from clinic.models import AuditEvent, CareTeam, Contact, ContactAuthority, StaffRole
from scheduling.models import Participation
from tests import factories as make
from tests.clinic.asking import faults, ids
from tests.scheduling.flow import PIN, Flow, give_pin, signed_in

pytestmark = pytest.mark.django_db
DAY, BEFORE, AFTER = "2026-04-14", "2026-04-10 09:00", "2026-04-14 18:00"
CALLED_OFF = {"cause": "client", "reason": "Called in ill."}


@pytest.fixture
def flow():
    return Flow()


@pytest.fixture
def group(flow):
    """A group of two, one of whom another assistant treats; the front desk booked it with that one."""
    flow.other, flow.bea = flow.person("Bea Lund", Role.ASSISTANT)
    make.make_supervision(flow.other, flow.supervisor)
    flow.stranger = flow.another_child("Ilo", flow.other)
    _, desk = flow.person("Lin Sato", Role.FRONT_DESK)
    children = [{"episode": str(flow.episode.pk)}, {"episode": str(flow.stranger.pk)}]
    booked = flow.book(f"{DAY} 15:00", at=BEFORE, api=desk, kind="group", staff=[str(flow.other.pk)], children=children)
    assert booked.status_code == 201, booked.content
    flow.desk = desk
    return booked.json()


def post(api, path, body, *, at, **headers):
    headers.setdefault("HTTP_IDEMPOTENCY_KEY", make.new_id())
    with time_machine.travel(make.at(at), tick=False):
        return api.post(f"/api/v1/{path}/", body, format="json", **headers)


def token(staff, scope):
    """An application's token of this person, narrowed to this scope."""
    application = Application.objects.create(
        client_id=make.new_id(), client_type="confidential", authorization_grant_type="authorization-code"
    )
    value = make.new_id()
    AccessToken.objects.create(
        application=application, user=staff.user, token=value, scope=scope, expires=timezone.now() + timedelta(hours=1)
    )
    api = APIClient()
    api.credentials(HTTP_AUTHORIZATION=f"Bearer {value}")
    return api


# --- A group of which only some are in reach -------------------------------------------------------------


def test_cancelling_a_group_leaves_children_out_of_reach_as_they_were(flow, group):
    """Ana treats one of the two: she calls off that one's part, and the other's stays booked."""
    answer = post(flow.ana, f"visits/{group['id']}/cancel", CALLED_OFF, at=BEFORE, HTTP_IF_MATCH="*")
    assert answer.status_code == 200, answer.content
    assert [part["episode"] for part in answer.json()["children"]] == [str(flow.episode.pk)]
    assert Participation.objects.get(episode=flow.episode).status == "cancelled"
    assert Participation.objects.get(episode=flow.stranger).status == "booked"


def test_who_is_only_booked_cancels_no_child_out_of_her_reach(flow, group):
    """Bea is booked for the group; once she is off the first child's team she may not call off that one's part."""
    CareTeam.objects.filter(staff=flow.other, episode=flow.episode).delete()
    answer = post(flow.bea, f"visits/{group['id']}/cancel", CALLED_OFF, at=BEFORE, HTTP_IF_MATCH="*")
    assert answer.status_code == 200, answer.content
    assert Participation.objects.get(episode=flow.episode).status == "booked"


def test_a_group_out_of_reach_cannot_be_moved_from_under_a_child(flow, group):
    """She may not name the other child, and leaving it out would take it from the visit."""
    alone = [{"episode": str(flow.episode.pk)}]
    both = [*alone, {"episode": str(flow.stranger.pk)}]
    for children, fault in ((alone, ("/children", "child_missing")), (both, ("/children/1/episode", "not_found"))):
        answer = flow.book(
            f"{DAY} 16:00",
            at=BEFORE,
            visit=group["id"],
            match=group["version"],
            kind="group",
            children=children,
            staff=[str(flow.other.pk)],
        )
        assert (answer.status_code, faults(answer)) == (422, [fault])
    assert Participation.objects.get(episode=flow.stranger).starts_at == make.at(f"{DAY} 15:00")


def test_a_visit_in_reach_names_only_the_children_in_reach(flow, group):
    """Neither the visit, nor the list, nor a filter tells of the other child."""
    stranger = str(flow.stranger.client_id)
    for path in (f"visits/{group['id']}/", "visits/", "participations/"):
        answer = flow.get(path, at=BEFORE)
        assert answer.status_code == 200
        assert stranger not in answer.content.decode()
    for path in ("visits/", "participations/"):
        assert flow.get(path, at=BEFORE, client=stranger).json()["results"] == []


# --- Answers given a second time -------------------------------------------------------------------------


def test_a_repeated_answer_is_in_the_trail_with_whom_it_shows(flow):
    """An answer kept under its key shows a child's record again: the second line names the child as the first does."""
    part = flow.visit("2026-04-14")
    key = make.new_id()
    for _ in range(2):
        answer = post(
            flow.ana,
            f"participations/{part}/finish",
            {"left_at": make.at("2026-04-14 09:40").isoformat()},
            at=AFTER,
            HTTP_IF_MATCH='"1"',
            HTTP_IDEMPOTENCY_KEY=key,
        )
        assert answer.status_code == 200, answer.content
    assert answer["Idempotency-Replayed"] == "true"
    told = AuditEvent.objects.filter(route__endswith="finish/").order_by("at", "pk")
    assert [event.client_ids for event in told] == [[flow.child.pk]] * 2


def test_a_kept_answer_shows_no_child_who_has_left_her_reach(flow, group):
    """Bea called the group off; off the teams, she is told neither whom it was nor why."""
    key, path = make.new_id(), f"visits/{group['id']}/cancel"
    first = post(flow.bea, path, CALLED_OFF, at=BEFORE, HTTP_IF_MATCH="*", HTTP_IDEMPOTENCY_KEY=key)
    assert len(first.json()["children"]) == 2
    CareTeam.objects.filter(staff=flow.other, episode=flow.episode).delete()
    again = post(flow.bea, path, CALLED_OFF, at=BEFORE, HTTP_IF_MATCH="*", HTTP_IDEMPOTENCY_KEY=key)
    assert (again.status_code, again.json()["code"]) == (404, "not_found")
    assert str(flow.child.pk) not in again.content.decode()


def test_a_key_of_somebody_else_opens_nothing(flow):
    """The same key, route and body under another session is another request."""
    key, part = make.new_id(), flow.visit("2026-04-14")
    path, body = f"participations/{part}/no-show", CALLED_OFF
    assert post(flow.ana, path, body, at=AFTER, HTTP_IF_MATCH='"1"', HTTP_IDEMPOTENCY_KEY=key).status_code == 200
    _, off_team = flow.person("Bea Lund", Role.ASSISTANT)
    answer = post(off_team, path, body, at=AFTER, HTTP_IF_MATCH='"1"', HTTP_IDEMPOTENCY_KEY=key)
    assert (answer.status_code, "Idempotency-Replayed" in answer) == (404, False)


# --- Names in bodies -------------------------------------------------------------------------------------


def test_a_consent_does_not_tell_which_contacts_there_are(flow):
    """A contact beside another child is refused in the very words of one that does not exist."""
    theirs = Contact.objects.create(organization=flow.organization, name="Somebody's mother")
    other = flow.another_child("Ilo", flow.supervisor)
    ContactAuthority.objects.create(
        organization=flow.organization,
        contact=theirs,
        client=other.client,
        relationship="parent",
        kind="consent_to_care",
        starts_on=make.LONG_AGO,
    )
    CareTeam.objects.filter(episode=other).delete()
    asked = {"client": str(flow.child.pk), "kind": "treat", "starts_on": "2026-02-20"}
    told = []
    for given_by in (str(theirs.pk), make.new_id()):
        path = f"/api/v1/consents/{make.new_id()}/"
        answer = flow.ruth.put(path, {**asked, "given_by": given_by}, format="json")
        told.append((answer.status_code, answer.json()["errors"]))
    assert told[0] == told[1]
    assert told[0][0] == 422


# --- Who answers for whom --------------------------------------------------------------------------------


def test_supervision_in_an_episode_is_shown_only_where_the_episode_is(flow):
    """An assistant off the team sees who answers for whom in the organization, but no episode out of her reach."""
    wide = make.make_supervision(flow.person("Noor Aalto", Role.ASSISTANT)[0], flow.supervisor)
    narrow = make.make_supervision(flow.assistant, flow.supervisor, scope=ScopeKind.EPISODE.value, episode=flow.episode)
    other, bea = flow.person("Bea Lund", Role.ASSISTANT)
    _, desk = flow.person("Ada Holm", Role.ADMINISTRATOR)
    seen = ids(bea.get("/api/v1/supervisions/"))
    assert str(wide.pk) in seen
    assert str(narrow.pk) not in seen
    assert bea.get(f"/api/v1/supervisions/{narrow.pk}/").status_code == 404
    for api in (flow.ana, flow.ruth, desk):
        assert str(narrow.pk) in ids(api.get("/api/v1/supervisions/"))


def test_the_narrowest_supervision_is_the_one_that_reaches(flow):
    """A therapist who supervises at the site does not reach the episode that somebody else supervises by itself."""
    wide, wide_api = flow.person("Iris Wold", Role.THERAPIST)
    narrow, narrow_api = flow.person("Oda Finn", Role.THERAPIST)
    make.make_supervision(flow.assistant, wide, scope=ScopeKind.SITE.value, site=flow.site)
    path = f"/api/v1/episodes/{flow.episode.pk}/"
    assert wide_api.get(path).status_code == 200
    make.make_supervision(flow.assistant, narrow, scope=ScopeKind.EPISODE.value, episode=flow.episode)
    assert (wide_api.get(path).status_code, narrow_api.get(path).status_code) == (404, 200)


# --- Narrow tokens ---------------------------------------------------------------------------------------

SHOWN_IN_A_DAY = ("clients:read", "goals:read", "notes:read", "precautions:read", "visits:read")


@pytest.mark.parametrize("missing", SHOWN_IN_A_DAY)
def test_the_day_shows_an_application_nothing_that_its_scope_leaves_out(flow, missing):
    """Names, precautions, visits, goals and notes: a token without one of these scopes gets no day."""
    flow.visit("2026-04-14")
    with time_machine.travel(make.at(AFTER), tick=False):
        narrow = token(flow.assistant, " ".join(scope for scope in SHOWN_IN_A_DAY if scope != missing))
        answer = narrow.get("/api/v1/day/")
        whole = token(flow.assistant, " ".join(SHOWN_IN_A_DAY)).get("/api/v1/day/")
    assert (answer.status_code, answer.json()["code"]) == (403, "insufficient_scope")
    assert missing in answer["WWW-Authenticate"]
    assert "Mirela" not in answer.content.decode()
    assert (whole.status_code, whole.json()["visits"][0]["children"][0]["given_name"]) == (200, "Mirela")


# --- Signing ---------------------------------------------------------------------------------------------


def test_another_persons_pin_signs_nothing(flow):
    """Each has a PIN of her own, and a note is signed by its author alone, whoever is asked for hers."""
    give_pin(flow.supervisor, "947261")
    note = flow.put(flow.visit("2026-04-14"), [], at=AFTER)
    wrong = flow.act(flow.ana, note, "sign", {"pin": "947261"}, at=AFTER, HTTP_IF_MATCH='"1"')
    assert (wrong.status_code, wrong.json()["code"]) == (403, "wrong_pin")
    hers = flow.act(flow.ruth, note, "sign", {"pin": "947261"}, at=AFTER, HTTP_IF_MATCH='"1"')
    assert (hers.status_code, hers.json()["code"]) == (403, "not_author")
    assert flow.read(note)["state"] == "draft"


def test_an_author_who_has_become_a_therapist_does_not_cosign_her_own(flow):
    """Neither a new role nor supervision of herself through a second row makes her another person."""
    note = flow.put(flow.visit("2026-04-14"), [], at=AFTER)
    flow.sign(note, at=AFTER)
    StaffRole.objects.create(
        organization=flow.organization, staff=flow.assistant, role="therapist", starts_on=make.LONG_AGO
    )
    digest = flow.read(note)["current"]["digest"]
    answer = flow.act(flow.ana, note, "cosign", {"digest": digest}, at=AFTER)
    assert (answer.status_code, answer.json()["code"]) == (403, "own_document")


def test_doors_of_notes_do_not_open_addenda_and_the_other_way_round(flow):
    """A note's id at an addendum's door is not there, nor an addendum's at a note's."""
    note = flow.put(flow.visit("2026-04-14"), [], at=AFTER)
    flow.sign(note, at=AFTER)
    digest = flow.read(note)["current"]["digest"]
    flow.cosign(note, digest=digest, at=AFTER)
    addendum = make.new_id()
    with time_machine.travel(make.at(AFTER), tick=False):
        made = flow.ana.put(f"/api/v1/addenda/{addendum}/", {"amends": note, "text": "Left hand."}, format="json")
    assert made.status_code == 201, made.content
    for wrong in (f"notes/{addendum}", f"addenda/{note}"):
        for act, body in (("sign", {}), ("cosign", {"digest": digest}), ("return", {"digest": digest, "reason": "?"})):
            answer = post(flow.ruth, f"{wrong}/{act}", {"pin": PIN, **body}, at=AFTER, HTTP_IF_MATCH='"1"')
            assert answer.status_code == 404 or answer.json()["code"] == "role_may_not", (wrong, act)
        assert flow.ana.get(f"/api/v1/{wrong}/").status_code == 404
    assert flow.ana.get(f"/api/v1/notes/{addendum}/versions/").status_code == 404


# --- Who somebody is -------------------------------------------------------------------------------------


def test_the_organization_header_opens_no_other_organization(flow):
    """Named by somebody who does not work there, it leaves her without a place at work; nothing is shown."""
    elsewhere = make.make_organization(name="Elsewhere")
    for value in (str(elsewhere.pk), str(make.new_id())):
        answer = flow.ana.get("/api/v1/clients/", HTTP_X_ORGANIZATION=value)
        assert (answer.status_code, answer.json()["code"]) == (403, "no_place_at_work")
    assert flow.ana.get("/api/v1/clients/", HTTP_X_ORGANIZATION=str(flow.organization.pk)).status_code == 200


def test_after_her_last_day_a_session_opens_nothing(flow):
    """A leaver's session and token still name her, and nothing answers them."""
    api = token(flow.assistant, "clients:read notes:read")
    flow.assistant.left_on = timezone.now().date() - timedelta(days=2)
    flow.assistant.save(update_fields=["left_on"])
    for who in (flow.ana, api):
        for path in ("clients/", "notes/", "day/", "me/"):
            assert who.get(f"/api/v1/{path}").status_code == 403


@pytest.mark.parametrize("header", ["HTTP_X_HTTP_METHOD_OVERRIDE", "HTTP_X_METHOD_OVERRIDE", "HTTP_X_HTTP_METHOD"])
def test_no_header_turns_a_read_into_a_write(flow, header):
    """The method is the request's own."""
    answer = flow.ana.get(f"/api/v1/clients/{flow.child.pk}/", **{header: "PATCH"})
    assert answer.status_code == 200
    flow.child.refresh_from_db()
    assert flow.child.version == 1


def test_a_token_in_the_query_or_in_a_body_is_none(flow):
    """RFC 6750, section 2: of its three places only the header is looked at."""
    given = token(flow.assistant, "clients:read")._credentials["HTTP_AUTHORIZATION"].split()[1]
    assert APIClient().get("/api/v1/clients/", {"access_token": given}).status_code == 401


def test_a_cursor_of_another_list_or_organization_is_refused(flow):
    """It is bound to its route, its filter and the organization; under it one sees what one sees without."""
    flow.another_child("Ilo", flow.supervisor)
    mine = flow.ruth.get("/api/v1/clients/", {"page_size": "1"}).json()["next"]
    cursor = mine.split("cursor=")[1].split("&")[0]
    assert flow.ruth.get(f"/api/v1/episodes/?cursor={cursor}").status_code == 400
    assert set(ids(flow.ana.get(f"/api/v1/clients/?cursor={cursor}"))) <= {str(flow.child.pk)}
    stranger = signed_in(make.make_staff(make.make_organization(name="Elsewhere"), Role.ADMINISTRATOR))
    assert stranger.get(f"/api/v1/clients/?cursor={cursor}").status_code == 400


def test_a_therapist_puts_herself_on_no_team_out_of_her_reach(flow):
    """Nor does an assistant on any; the episode that she names is not there for her."""
    stranger, api = flow.person("Iris Wold", Role.THERAPIST)
    place = {"episode": str(flow.episode.pk), "staff": str(stranger.pk), "starts_on": "2026-01-01"}
    answer = api.put(f"/api/v1/care-team/{make.new_id()}/", place, format="json")
    assert (answer.status_code, faults(answer)) == (422, [("/episode", "not_found")])
    booked = flow.book(f"{DAY} 10:00", at=BEFORE, api=api, staff=[str(stranger.pk)])
    assert (booked.status_code, faults(booked)) == (422, [("/children/0/episode", "not_found")])
    assert not AuditEvent.objects.exclude(client_ids=[]).exists()
    assert not CareTeam.objects.filter(staff=stranger).exists()


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("staff-roles", {"role": "administrator", "starts_on": "2026-01-01"}),
        ("supervisions", {"scope": "organization", "starts_on": "2026-01-01"}),
        ("staff", {"printed_name": "Ana, director"}),
    ],
)
def test_nobody_but_an_administrator_raises_herself(flow, path, body):
    """Roles, supervision and the printed name are an administrator's to write."""
    for api in (flow.ana, flow.ruth):
        answer = api.put(f"/api/v1/{path}/{make.new_id()}/", body, format="json")
        assert (answer.status_code, answer.json()["code"]) == (403, "role_may_not")


@pytest.mark.parametrize("member", ["id", "version", "organization", "created_digest", "client_id"])
def test_what_is_only_shown_is_not_taken(flow, member):
    """A member that the form does not name is refused, whatever column has its name."""
    _, desk = flow.person("Lin Sato", Role.FRONT_DESK)
    answer = desk.patch(f"/api/v1/clients/{flow.child.pk}/", {member: make.new_id()}, format="json", HTTP_IF_MATCH="*")
    assert (answer.status_code, faults(answer)) == (400, [(f"/{member}", "unknown_member")])


@pytest.mark.parametrize("body", [{"gestation_days": 3}, {"gestation_weeks": None}])
def test_days_of_gestation_without_weeks_are_refused_in_a_change_too(flow, body):
    """What the table forbids is told as a wrong member, and nothing is written."""
    if "gestation_weeks" in body:
        flow.child.gestation_weeks, flow.child.gestation_days = 34, 2
        flow.child.save(update_fields=["gestation_weeks", "gestation_days"])
    answer = flow.ruth.patch(f"/api/v1/clients/{flow.child.pk}/", body, format="json", HTTP_IF_MATCH='"1"')
    assert (answer.status_code, faults(answer)) == (422, [("/gestation_weeks", "required")])


# --- No clinical word ------------------------------------------------------------------------------------


@pytest.fixture
def early(flow):
    """The child was born at 34 weeks and 2 days."""
    flow.child.gestation_weeks, flow.child.gestation_days = 34, 2
    flow.child.save(update_fields=["gestation_weeks", "gestation_days"])
    return f"/api/v1/clients/{flow.child.pk}/"


@pytest.mark.parametrize("role", [Role.FRONT_DESK, Role.ADMINISTRATOR])
def test_how_early_a_child_was_born_is_told_to_those_who_treat_her(flow, early, role):
    """The front desk and the administrator get names and the birth date; her ages are clinical."""
    _, api = flow.person("Lin Sato", role)
    (listed,) = api.get("/api/v1/clients/").json()["results"]
    for shown in (api.get(early).json(), listed):
        assert (shown["gestation_weeks"], shown["gestation_days"], shown["birth_date"]) == (None, None, "2021-05-17")
    assert api.get(f"{early}ages/").status_code == 403
    for clinician in (flow.ana, flow.ruth):
        assert clinician.get(early).json()["gestation_weeks"] == 34


def test_a_second_role_at_the_desk_tells_no_more_of_a_child_out_of_reach(flow, early):
    """An assistant who also sits at the desk sees every child, and the births of those whom she treats."""
    _, api = flow.person("Bea Lund", Role.ASSISTANT, Role.FRONT_DESK)
    assert (api.get(early).json()["gestation_weeks"], api.get(f"{early}ages/").status_code) == (None, 404)


def test_what_was_not_shown_is_not_written_over(flow, early):
    """A child sent back as she was shown keeps her weeks; other weeks are refused."""
    _, desk = flow.person("Lin Sato", Role.FRONT_DESK)
    shown = desk.get(early).json()
    asked = {**{name: shown[name] for name in shown if name not in ("id", "version")}, "preferred_name": "Miri"}
    answer = desk.put(early, asked, format="json", HTTP_IF_MATCH='"1"')
    assert (answer.status_code, answer.json()["gestation_weeks"]) == (200, None)
    flow.child.refresh_from_db()
    assert (flow.child.preferred_name, flow.child.gestation_weeks, flow.child.gestation_days) == ("Miri", 34, 2)
    refused = desk.patch(early, {"gestation_weeks": 30}, format="json", HTTP_IF_MATCH='"2"')
    assert (refused.status_code, refused.json()["code"]) == (403, "clinicians_word")
