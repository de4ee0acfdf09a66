"""The trail of the doors before the record: signing in and out, tokens, and whoever is not known here."""

import pytest
from django.test import Client as Browser
from django.utils import timezone

from clinic.enums import Role
from clinic.models import AccountEvent, AuditEvent, SystemPrincipal, User
from clinic.services.applications import register_system
from tests import factories as make
from tests.clinic import oauth_flow as flow

pytestmark = pytest.mark.django_db
PASSWORD = "a-pass-phrase-for-tests"
ADDRESS = "203.0.113.7"


@pytest.fixture
def staff():
    staff = make.make_staff(make.make_organization(), Role.THERAPIST)
    staff.user.set_password(PASSWORD)
    staff.user.save()
    return staff


@pytest.fixture
def browser():
    return Browser(REMOTE_ADDR=ADDRESS)


def log_in(browser, username, password=PASSWORD):
    return browser.post("/login/", {"username": username, "password": password})


def last(action):
    """The one event of this kind."""
    return AccountEvent.objects.get(action=action)


def test_a_sign_in_is_told(staff, browser):
    """Who, when, from where; the page that only offers the form is no act."""
    browser.get("/login/")
    before = timezone.now()
    log_in(browser, staff.user.username)
    event = AccountEvent.objects.get()
    assert (event.action, event.outcome, event.user_id) == ("sign_in", "done", staff.user_id)
    assert (event.route, event.method, event.status, event.address) == ("login/", "POST", 302, ADDRESS)
    assert before <= event.at <= timezone.now()
    assert event.request_id


def test_a_wrong_password_is_told_of_nobody_by_name(staff, browser):
    """Attempts on one account can be told apart, though what was typed stands nowhere."""
    log_in(browser, staff.user.username, "wrong")
    log_in(browser, staff.user.username.upper(), "wrong again")
    log_in(browser, "another", "wrong")
    events = list(AccountEvent.objects.order_by("at"))
    assert [(e.action, e.outcome, e.code, e.user_id) for e in events] == [
        ("sign_in", "refused", "not_let_in", None)
    ] * 3
    assert events[0].named == events[1].named != events[2].named
    kept = str([vars(event) for event in events])
    assert staff.user.username not in kept
    assert "wrong" not in kept


def test_a_locked_account_is_told(staff, browser):
    """The try that locks and every one after it."""
    for _ in range(11):
        log_in(browser, staff.user.username, "wrong")
    codes = list(AccountEvent.objects.order_by("at").values_list("code", flat=True))
    assert codes == ["not_let_in"] * 9 + ["locked_out"] * 2


def test_a_form_of_another_site_is_told(staff):
    """A sign-in without the page's token."""
    log_in(Browser(enforce_csrf_checks=True), staff.user.username)
    event = AccountEvent.objects.get()
    assert (event.outcome, event.code, event.user_id) == ("refused", "csrf_failed", None)


def test_a_form_too_large_is_told_unread(staff, browser):
    """What was not read is not read for the trail either."""
    browser.post("/login/", {"username": "x" * 3_000_000, "password": PASSWORD})
    event = AccountEvent.objects.get()
    assert (event.outcome, event.named) == ("refused", "")


def test_a_sign_out_says_whose_session_ended(staff, browser):
    log_in(browser, staff.user.username)
    browser.post("/logout/")
    assert (last("sign_out").user_id, last("sign_out").outcome) == (staff.user_id, "done")


def test_a_person_lets_an_application_in_and_it_gets_its_tokens(staff, browser):
    """The page, her consent, the exchange and the renewal: each one event, with the person and the application."""
    application = flow.public_application()
    assert last("register").application == application.client_id
    log_in(browser, staff.user.username)
    code = flow.allowed(browser, flow.asking(application))["code"]
    tokens = flow.exchange(application, code).json()
    assert flow.refresh(application, tokens["refresh_token"]).status_code == 200
    told = AccountEvent.objects.filter(action__in=["authorize", "token"]).order_by("at")
    assert [(event.action, event.method) for event in told] == [
        ("authorize", "GET"),
        ("authorize", "POST"),
        ("token", "POST"),
        ("token", "POST"),
    ]
    assert {(event.user_id, event.application, event.outcome) for event in told} == {
        (staff.user_id, application.client_id, "done")
    }


def test_a_refused_consent_is_told(staff, browser):
    """She presses Cancel: the redirect carries the error back, and the event says which."""
    log_in(browser, staff.user.username)
    page = browser.get(flow.asking(flow.public_application()))
    browser.post("/oauth/authorize/", flow.fields_of(page))
    event = AccountEvent.objects.get(action="authorize", method="POST")
    assert (event.outcome, event.code, event.user_id) == ("refused", "access_denied", staff.user_id)


def test_a_stolen_code_is_told(staff, browser):
    """A code without its verifier gives no token."""
    log_in(browser, staff.user.username)
    application = flow.public_application()
    code = flow.allowed(browser, flow.asking(application))["code"]
    flow.exchange(application, code, code_verifier="x" * 43)
    assert (last("token").outcome, last("token").code) == ("refused", "invalid_grant")


def test_a_system_gets_its_token_and_a_guess_does_not():
    organization = make.make_organization()
    system = register_system(
        name="Timetable", organization_id=organization.pk, actions=["clients:read"], now=timezone.now()
    )
    flow.system_token(system, "clients:read")
    assert (last("token").outcome, last("token").application, last("token").user_id) == ("done", system.client_id, None)
    guessed = type(system)(client_id=system.client_id, secret="guessed")
    flow.system_token(guessed, "clients:read")
    refused = AccountEvent.objects.get(action="token", outcome="refused")
    assert (refused.code, refused.application) == ("invalid_client", "")


@pytest.mark.parametrize(("path", "action"), [("revoke_token", "revoke"), ("introspect", "introspect")])
def test_what_is_asked_about_a_token_is_told(path, action):
    Browser().post(f"/oauth/{path}/", {"token": "made-up", "client_id": "nobody"})
    assert last(action).outcome == "refused"


def test_nobody_at_the_record_is_told(browser):
    """No session, no token: refused, and from where."""
    assert browser.get("/api/v1/clients/").status_code == 401
    event = last("record")
    assert (event.code, event.address, event.route) == ("not_authenticated", ADDRESS, "api/v1/clients/")
    assert AuditEvent.objects.count() == 0


def test_a_token_that_is_none_is_told(browser):
    browser.get("/api/v1/clients/", headers={"Authorization": "Bearer made-up"})
    assert (last("record").code, last("record").status) == ("invalid_token", 401)


def test_a_login_without_a_place_at_work_is_told(browser):
    """The event says whose login it was."""
    user = User.objects.create(username="no-place")
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    browser.get("/api/v1/clients/")
    assert (last("record").code, last("record").user_id) == ("no_place_at_work", user.pk)


def test_a_system_whose_days_are_over_is_told():
    """Its token still holds, its principal does not: the event names the application."""
    system = register_system(
        name="Timetable", organization_id=make.make_organization().pk, actions=["clients:read"], now=timezone.now()
    )
    token = flow.system_token(system, "clients:read").json()["access_token"]
    SystemPrincipal.objects.update(starts_on="2999-01-01")
    assert flow.get("/api/v1/clients/", token).status_code == 403
    assert (last("record").application, last("record").user_id) == (system.client_id, None)
