"""Client credentials: a system is bound to one organization and to explicit actions, and acts for nobody."""

from datetime import UTC, datetime, timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone
from oauth2_provider.models import AccessToken, Application

from clinic.errors import InvalidField
from clinic.models import AuditEvent, Client, SystemPrincipal
from clinic.rules.access import SYSTEM_ACTIONS, Action, may
from clinic.selectors import actors
from clinic.services.applications import register_system
from tests import factories as make
from tests.clinic import oauth_flow as flow

pytestmark = pytest.mark.django_db
CLIENTS = "/api/v1/clients/"
BY_COMMAND = "systems:register"


@pytest.fixture
def organization():
    organization = make.make_organization()
    make.make_client(make.make_site(organization), family_name="Ours")
    elsewhere = make.make_organization(name="Elsewhere")
    make.make_client(make.make_site(elsewhere), family_name="Theirs")
    return organization


def registered(organization, *actions, **over):
    given = {"name": "Timetable", "organization_id": organization.pk, "actions": actions, "now": timezone.now()}
    return register_system(**{**given, **over})


def token_of(system, scope):
    answer = flow.system_token(system, scope)
    assert answer.status_code == 200, answer.content
    return answer.json()["access_token"]


def test_a_system_reads_what_it_was_bound_to_in_its_organization(organization):
    """The other organization's child is neither listed nor found, and the trail names the system and no person."""
    system = registered(organization, "clients:read")
    token = token_of(system, "clients:read")
    assert [row["family_name"] for row in flow.get(CLIENTS, token).json()["results"]] == ["Ours"]
    theirs = Client.objects.get(family_name="Theirs")
    assert flow.get(f"{CLIENTS}{theirs.pk}/", token).status_code == 404
    told = AuditEvent.objects.exclude(action=BY_COMMAND).order_by("at")
    assert {(event.application, event.actor_id, event.organization_id) for event in told} == {
        (system.client_id, None, organization.pk)
    }
    assert [event.status for event in told] == [200, 404]


def test_a_token_has_no_refresh_and_no_person(organization):
    """RFC 6749, section 4.4.3: the system asks again with its own credentials."""
    answer = flow.system_token(registered(organization, "clients:read"), "clients:read").json()
    assert "refresh_token" not in answer
    assert AccessToken.objects.get().user is None


def test_an_action_that_it_was_not_bound_to_is_refused(organization):
    """The scope may be had by systems in general; this one's principal does not name it."""
    token = token_of(registered(organization, "staff:read"), "clients:read staff:read")
    answer = flow.get(CLIENTS, token)
    assert (answer.status_code, answer.json()["code"]) == (403, "role_may_not")


def test_a_narrower_token_reaches_less_than_its_system(organization):
    """The principal's action counts only where the token's scope names it too."""
    token = token_of(registered(organization, "clients:read", "staff:read"), "staff:read")
    assert flow.get(CLIENTS, token).json()["code"] == "insufficient_scope"


def test_a_system_changes_no_child(organization):
    """No system may be bound to the change, so the scope itself is refused."""
    system = registered(organization, "clients:read")
    assert flow.system_token(system, "clients:write").json()["error"] == "invalid_scope"
    child = Client.objects.get(family_name="Ours")
    answer = flow.Browser().put(
        f"{CLIENTS}{child.pk}/",
        {},
        content_type="application/json",
        headers={"Authorization": f"Bearer {token_of(system, 'clients:read')}"},
    )
    assert (answer.status_code, answer.json()["code"]) == (403, "insufficient_scope")


@pytest.mark.parametrize("action", sorted(set(Action) - SYSTEM_ACTIONS))
def test_what_no_system_may_have(organization, action):
    """Not by registration, not by scope, and not by a row that somebody wrote into the table."""
    with pytest.raises(InvalidField, match=action):
        registered(organization, "clients:read", action)
    assert (SystemPrincipal.objects.count(), Application.objects.count()) == (0, 0)
    system = registered(organization, "clients:read")
    assert flow.system_token(system, action).json()["error"] == "invalid_scope"
    SystemPrincipal.objects.update(actions=[action.value])
    actor = actors.system(client_id=system.client_id, now=timezone.now(), scopes=frozenset({action.value}))
    assert not may(actor, action)


def test_documents_are_out_of_every_systems_reach():
    """Their content is among what no system may have, written out here by hand."""
    assert SYSTEM_ACTIONS.isdisjoint(
        {Action.SEE_NOTES, Action.WRITE_NOTES, Action.SIGN_NOTES, Action.COSIGN_NOTES, Action.SEE_PLANS}
    )


def test_an_application_without_a_principal_is_refused(organization):
    """Credentials alone open nothing: 403, and the list stays closed."""
    system = registered(organization, "clients:read")
    token = token_of(system, "clients:read")
    SystemPrincipal.objects.all().delete()
    answer = flow.get(CLIENTS, token)
    assert (answer.status_code, answer.json()["code"]) == (403, "no_place_at_work")
    assert "results" not in answer.json()


@pytest.mark.parametrize(
    ("first", "last", "status"), [(0, None, 200), (0, 0, 200), (1, None, 403), (-9, -1, 403)], ids=str
)
def test_a_principal_holds_from_a_day_to_a_day(organization, first, last, status):
    """Days are those of its organization, both included."""
    system = registered(organization, "clients:read")
    today = actors.today_in(organization.time_zone, timezone.now())
    SystemPrincipal.objects.update(
        starts_on=today + timedelta(first), ends_on=None if last is None else today + timedelta(last)
    )
    assert flow.get(CLIENTS, token_of(system, "clients:read")).status_code == status


def test_a_wrong_secret_gets_no_token(organization):
    """invalid_client (RFC 6749, section 5.2); the table knows only the secret's hash."""
    system = registered(organization, "clients:read")
    answer = flow.system_token(type(system)(system.client_id, "x" * 128), "clients:read")
    assert (answer.status_code, answer.json()["error"]) == (401, "invalid_client")
    assert AccessToken.objects.count() == 0
    assert system.secret not in Application.objects.get().client_secret
    assert system.secret not in repr(system)


def test_registering_a_system_is_in_the_trail(organization):
    """A way into the record was opened: when, which, and that nobody's session did it."""
    now = datetime(2026, 3, 3, 5, 30, tzinfo=UTC)
    registered(organization, "clients:read", "clients:read", "staff:read", now=now)
    principal = SystemPrincipal.objects.get()
    assert (principal.actions, principal.starts_on.isoformat()) == (["clients:read", "staff:read"], "2026-03-02")
    event = AuditEvent.objects.get()
    assert (event.action, event.subject_id, event.application, event.at) == (
        BY_COMMAND,
        principal.pk,
        "command line",
        now,
    )


@pytest.mark.parametrize(
    ("over", "pointer"),
    [
        pytest.param({"organization_id": make.new_id()}, "/organization", id="unknown organization"),
        pytest.param({"actions": []}, "/actions", id="no action"),
        pytest.param({"name": " "}, "/name", id="blank name"),
        pytest.param({"name": "x" * 201}, "/name", id="long name"),
        pytest.param({"ends_on": make.LONG_AGO}, "/ends_on", id="already over"),
    ],
)
def test_a_system_that_cannot_be_registered(organization, over, pointer):
    """Refused with the place of the fault; no application is left behind."""
    with pytest.raises(InvalidField) as refusal:
        registered(organization, "clients:read", **over)
    assert refusal.value.errors[0]["pointer"] == pointer
    assert (Application.objects.count(), SystemPrincipal.objects.count(), AuditEvent.objects.count()) == (0, 0, 0)


def printed(*arguments, **options):
    out, err = StringIO(), StringIO()
    call_command(*arguments, stdout=out, stderr=err, **options)
    return dict(line.split(" ", 1) for line in out.getvalue().splitlines())


def test_the_command_registers_a_system(organization):
    """What it prints is what gets a token."""
    told = printed("register_system", "Timetable", str(organization.pk), "clients:read")
    system = flow.Registered(told["client_id"], told["client_secret"])
    assert flow.get(CLIENTS, token_of(system, "clients:read")).status_code == 200


def test_the_command_registers_an_application():
    """A public one has no secret to show; a confidential one shows it once."""
    assert set(printed("register_application", "Clipboard", flow.REDIRECT)) == {"client_id"}
    told = printed("register_application", "Ledger", flow.REDIRECT, "--confidential")
    assert set(told) == {"client_id", "client_secret"}
    assert list(Application.objects.order_by("pk").values_list("client_type", "authorization_grant_type")) == [
        ("public", "authorization-code"),
        ("confidential", "authorization-code"),
    ]


def test_the_commands_refuse_in_one_line(organization):
    """A plain message instead of a traceback."""
    with pytest.raises(CommandError, match="No system may have notes:read"):
        printed("register_system", "Timetable", str(organization.pk), "notes:read")
    with pytest.raises(CommandError):
        printed("register_application", "Clipboard", "http://app.example/return")
    assert Application.objects.count() == 0
