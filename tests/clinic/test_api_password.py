"""One's own password: chosen with care, changed by whoever knows the old one, and what ends with it."""

import pytest
from django.contrib.auth import authenticate
from django.contrib.auth.hashers import identify_hasher, make_password
from django.test import Client as Browser
from django.test import RequestFactory
from oauth2_provider.models import AccessToken, RefreshToken

from clinic import settings as shipped
from clinic.enums import Role
from clinic.models import AuditEvent, Idempotency, User
from tests import factories as make
from tests.clinic import oauth_flow as flow
from tests.clinic.test_session import log_in

pytestmark = pytest.mark.django_db
URL = "/api/v1/me/password/"
CLIENTS = "/api/v1/clients/"
OLD, NEW = "a-pass-phrase-for-tests", "purple kettle dune"


@pytest.fixture
def staff():
    staff = make.make_staff(make.make_organization(), Role.FRONT_DESK, printed_name="Lin Sato")
    staff.user.set_password(OLD)
    staff.user.save()
    return staff


@pytest.fixture
def browser(staff):
    browser = Browser()
    log_in(browser, staff.user.username, OLD)
    return browser


def change(browser, *, password=OLD, new_password=NEW, **headers):
    body = {"password": password, "new_password": new_password}
    return browser.post(URL, body, content_type="application/json", headers=headers)


def test_she_changes_her_password(staff, browser):
    """From then on the new one lets her in, and the old one does not; this session goes on."""
    assert change(browser).status_code == 204
    assert browser.get(CLIENTS).status_code == 200
    assert log_in(Browser(), staff.user.username, OLD).status_code == 200
    assert log_in(Browser(), staff.user.username, NEW).status_code == 302


def test_whoever_had_the_old_one_is_out(staff, browser):
    """Sessions elsewhere and the tokens of applications end with the change."""
    elsewhere = Browser()
    log_in(elsewhere, staff.user.username, OLD)
    application = flow.public_application()
    tokens = flow.exchange(application, flow.allowed(browser, flow.asking(application))["code"]).json()
    assert elsewhere.get(CLIENTS).status_code == flow.get(CLIENTS, tokens["access_token"]).status_code == 200
    change(browser)
    assert elsewhere.get(CLIENTS).status_code == flow.get(CLIENTS, tokens["access_token"]).status_code == 401
    assert flow.refresh(application, tokens["refresh_token"]).status_code == 400
    assert (AccessToken.objects.count(), RefreshToken.objects.count()) == (0, 0)


@pytest.mark.parametrize(
    "weak",
    [
        pytest.param("purple kettle", id="short"),
        pytest.param("kettlekettlekettle", id="repeated"),
        pytest.param("lin.sato.lin.sato", id="her name"),
        pytest.param("Alder Yard Therapy", id="her place of work"),
        pytest.param("1qaz2wsx3edc4rfv", id="among the most used"),
    ],
)
def test_a_weak_password_is_refused(staff, browser, weak):
    """422 at the member with a sentence; the old one still lets her in."""
    answer = change(browser, new_password=weak)
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, "/new_password")
    assert answer.json()["errors"][0]["code"] == "weak_password"
    assert weak not in answer.content.decode()
    assert log_in(Browser(), staff.user.username, OLD).status_code == 302


def test_a_wrong_password_is_counted_and_locks(staff, browser):
    """Nobody guesses at an open session: five misses lock this door and the PIN."""
    codes = [change(browser, password="wrong").json()["code"] for _ in range(5)]
    assert codes == ["wrong_password"] * 5
    assert (change(browser).status_code, change(browser).json()["code"]) == (429, "pin_locked")
    assert log_in(Browser(), staff.user.username, OLD).status_code == 302


def test_no_password_is_kept_with_the_answer_or_in_the_trail(browser):
    """The key's fingerprint leaves secrets out; the trail has the verb."""
    key = make.new_id()
    assert change(browser, **{"Idempotency-Key": key}).status_code == 204
    kept = str(Idempotency.objects.values().get()) + str(list(AuditEvent.objects.values()))
    assert OLD not in kept
    assert NEW not in kept


def test_an_accent_is_the_same_however_it_was_typed(staff):
    """NIST SP 800-63B: normalized before it is hashed, so that another keyboard lets her in."""
    staff.user.set_password("Zo\u00eb's purple kettle")
    staff.user.save()
    assert User.objects.get().check_password("Zoe\u0308's purple kettle")
    assert log_in(Browser(), staff.user.username, "Zoe\u0308's purple kettle").status_code == 302


def test_every_character_counts(staff):
    """Nothing of a long password is cut off."""
    long = "purple kettle dune " * 10
    staff.user.set_password(long)
    staff.user.save()
    assert authenticate(request=RequestFactory().post("/login/"), username=staff.user.username, password=long)
    assert not User.objects.get().check_password(long[:-1])


def test_passwords_are_kept_as_argon2id(settings):
    """As the service ships, whatever the tests use to be quick."""
    settings.PASSWORD_HASHERS = shipped.PASSWORD_HASHERS
    kept = make_password(NEW)
    assert identify_hasher(kept).algorithm == "argon2"
    assert kept.startswith("argon2$argon2id$")


def test_the_login_page_lets_a_password_be_pasted():
    """NIST SP 800-63B: password managers are let work; nothing in the page hinders them."""
    page = Browser().get("/login/").content.decode()
    assert 'autocomplete="current-password"' in page
    assert "onpaste" not in page
    assert "maxlength" not in page.partition('name="password"')[2].partition(">")[0]
