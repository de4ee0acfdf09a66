"""The browser's session: how it begins, what it may do without a token of its own, and whom it lets in."""

from datetime import date, timedelta

import pytest
import time_machine
from axes.models import AccessAttempt
from django.contrib.sessions.models import Session
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext

from clinic.enums import Role
from clinic.models import Client, Staff, User
from clinic.services import delivery
from clinic.sessions import SessionStore
from tests import factories as make
from tests.clinic.oauth_flow import fields_of

pytestmark = pytest.mark.django_db
CLIENTS = "/api/v1/clients/"
PASSWORD = "a-pass-phrase-for-tests"


@pytest.fixture
def staff():
    organization = make.make_organization()
    make.make_client(make.make_site(organization), family_name="Ours")
    staff = make.make_staff(organization, Role.FRONT_DESK)
    staff.user.set_password(PASSWORD)
    staff.user.save()
    return staff


def log_in(browser, username, password=PASSWORD, **over):
    form = {**fields_of(browser.get("/login/")), "username": username, "password": password, **over}
    return browser.post("/login/", form)


def code_of(answer):
    assert answer["Content-Type"] == "application/problem+json"
    assert Browser().get(answer.json()["type"]).status_code == 200
    return answer.status_code, answer.json()["code"]


def test_the_login_page_opens_a_session(staff):
    """With the page's own token, and back to a page of this host."""
    browser = Browser(enforce_csrf_checks=True)
    answer = log_in(browser, staff.user.username, next="/api/v1/docs/")
    assert (answer.status_code, answer["Location"]) == (302, "/api/v1/docs/")
    assert browser.get(CLIENTS).json()["results"][0]["family_name"] == "Ours"


def test_login_without_the_pages_token_is_refused(staff):
    """A form on another site cannot sign somebody in: 403, no session."""
    browser = Browser(enforce_csrf_checks=True)
    answer = browser.post("/login/", {"username": staff.user.username, "password": PASSWORD})
    assert code_of(answer) == (403, "csrf_failed")
    assert Session.objects.count() == 0


@pytest.mark.parametrize("target", ["https://evil.example/", "//evil.example/", "javascript:alert(1)"])
def test_login_leads_to_no_other_host(staff, target):
    """A prepared link cannot use the login page to send somebody away."""
    answer = log_in(Browser(), staff.user.username, next=target)
    assert answer["Location"] == "/api/v1/docs/"


def test_the_sessions_key_is_new_after_login(staff):
    """Who planted a session key in the browser before knows nothing after (session fixation)."""
    browser = Browser()
    planted = browser.session
    planted["seen"] = 1
    planted.save()
    browser.cookies["sessionid"] = planted.session_key
    log_in(browser, staff.user.username)
    key = browser.cookies["sessionid"].value
    assert key != planted.session_key
    assert not Session.objects.filter(session_key=planted.session_key).exists()
    thief = Browser()
    thief.cookies["sessionid"] = planted.session_key
    assert thief.get(CLIENTS).status_code == 401


def test_the_cookies_are_out_of_reach_of_scripts_and_other_sites(staff):
    """HttpOnly for the session, SameSite for both."""
    browser = Browser()
    log_in(browser, staff.user.username)
    session, csrf = browser.cookies["sessionid"], browser.cookies["csrftoken"]
    assert (session["httponly"], session["samesite"], csrf["samesite"]) == (True, "Lax", "Lax")


def test_a_session_in_use_ends_after_a_days_work(staff):
    """After eight hours it is over, whatever was done in it."""
    browser = Browser()
    with time_machine.travel("2026-03-03T08:00:00Z", tick=False) as clock:
        log_in(browser, staff.user.username)
        for _ in range(23):
            clock.shift(timedelta(minutes=20))
            assert browser.get(CLIENTS).status_code == 200
        clock.shift(timedelta(minutes=19))
        assert browser.get(CLIENTS).status_code == 200
        clock.shift(timedelta(minutes=2))
        assert browser.get(CLIENTS).status_code == 401


@pytest.mark.parametrize(("left_alone", "status"), [(29, 200), (31, 401)])
def test_a_session_that_is_left_alone_ends(staff, left_alone, status):
    """45 CFR 164.312(a)(2)(iii), automatic logoff: half an hour after the last request, not after the login."""
    browser = Browser()
    with time_machine.travel("2026-03-03T08:00:00Z", tick=False) as clock:
        log_in(browser, staff.user.username)
        clock.shift(timedelta(minutes=25))
        assert browser.get(CLIENTS).status_code == 200
        clock.shift(timedelta(minutes=left_alone))
        assert browser.get(CLIENTS).status_code == status


def test_a_session_in_use_is_written_once_a_minute(staff):
    """Its end moves on with its use, at the price of one statement a minute."""
    browser = Browser()
    with time_machine.travel("2026-03-03T08:00:00Z", tick=False) as clock:
        log_in(browser, staff.user.username)
        written = []
        for _ in range(4):
            clock.shift(timedelta(seconds=30))
            with CaptureQueriesContext(connection) as queries:
                browser.get(CLIENTS)
            written.append(sum('UPDATE "django_session"' in query["sql"] for query in queries))
    assert written == [0, 1, 0, 1]


def test_a_session_that_was_ended_is_not_brought_back_by_its_use(staff):
    """A request that began before the logout and is still under way keeps nothing alive."""
    browser = Browser()
    with time_machine.travel("2026-03-03T08:00:00Z", tick=False) as clock:
        log_in(browser, staff.user.username)
        held = SessionStore(browser.cookies["sessionid"].value)
        row = Session.objects.get()
        browser.post("/logout/")
        clock.shift(timedelta(minutes=5))
        held._keep_alive(row, held.decode(row.session_data))
    assert Session.objects.count() == 0


def test_ended_sessions_are_swept_away(staff):
    """Their rows go with the next sweep; who is still at work stays signed in."""
    with time_machine.travel("2026-03-03T08:00:00Z", tick=False) as clock:
        log_in(Browser(), staff.user.username)
        clock.shift(timedelta(minutes=20))
        at_work = Browser()
        log_in(at_work, staff.user.username)
        clock.shift(timedelta(minutes=15))
        delivery.sweep_expired()
        assert [row.session_key for row in Session.objects.all()] == [at_work.cookies["sessionid"].value]


def test_logging_out_needs_a_post_and_ends_the_session(staff):
    """A link or an image of another site logs nobody out; the cookie is worth nothing afterwards."""
    browser = Browser()
    log_in(browser, staff.user.username)
    key = browser.cookies["sessionid"].value
    assert code_of(browser.get("/logout/")) == (405, "method_not_allowed")
    assert browser.get("/logout/")["Allow"] == "POST, OPTIONS"
    assert browser.get(CLIENTS).status_code == 200
    assert browser.post("/logout/").status_code == 302
    browser.cookies["sessionid"] = key
    assert browser.get(CLIENTS).status_code == 401


def test_ten_misses_lock_the_account_for_this_address(staff):
    """The eleventh try is 429 even with the right password; another address is not locked out with it."""
    browser = Browser()
    tries = [log_in(browser, staff.user.username, "wrong").status_code for _ in range(10)]
    assert (tries[:9], tries[9]) == ([200] * 9, 429)
    locked = browser.post("/login/", {"username": staff.user.username, "password": PASSWORD})
    assert code_of(locked) == (429, "locked_out")
    assert locked["Retry-After"] == "900"
    assert browser.get(CLIENTS).status_code == 401
    elsewhere = Browser(REMOTE_ADDR="203.0.113.7")
    assert log_in(elsewhere, staff.user.username).status_code == 302


def test_a_lock_ends_after_a_quarter_of_an_hour(staff):
    """Waiting is enough; nobody has to be asked."""
    browser = Browser()
    with time_machine.travel("2026-03-03T08:00:00Z", tick=False) as clock:
        for _ in range(10):
            log_in(browser, staff.user.username, "wrong")
        clock.shift(timedelta(minutes=16))
        assert log_in(browser, staff.user.username).status_code == 302


def test_a_forged_address_does_not_get_more_tries(staff):
    """Without a trusted proxy the sender's own X-Forwarded-For counts for nothing."""
    tries = []
    for number in range(11):
        browser = Browser(headers={"X-Forwarded-For": f"203.0.113.{number}"})
        form = {"username": staff.user.username, "password": "wrong"}
        tries.append(browser.post("/login/", form).status_code)
    assert tries[-1] == 429


def test_behind_a_proxy_the_address_is_the_one_that_it_saw(staff, settings):
    """With one trusted proxy its own, last entry counts; what the sender wrote stands before it."""
    settings.TRUSTED_PROXIES = 1
    for number in range(10):
        browser = Browser(headers={"X-Forwarded-For": f"198.51.100.{number}, 203.0.113.7"})
        browser.post("/login/", {"username": staff.user.username, "password": "wrong"})
    assert list(AccessAttempt.objects.values_list("ip_address", "failures_since_start")) == [("203.0.113.7", 10)]
    elsewhere = Browser(headers={"X-Forwarded-For": "203.0.113.8"})
    assert log_in(elsewhere, staff.user.username).status_code == 302


def test_an_unknown_name_and_a_wrong_password_answer_alike(staff):
    """Nobody learns from the page who has an account."""
    unknown = log_in(Browser(), "nobody-of-that-name", "wrong")
    wrong = log_in(Browser(), staff.user.username, "wrong")
    assert unknown.status_code == wrong.status_code == 200
    sentence = b"The user name or the password is not right."
    assert sentence in unknown.content
    assert sentence in wrong.content


def test_a_deactivated_person_cannot_log_in_and_her_session_is_dead(staff):
    """The next request after the deactivation is 401."""
    browser = Browser()
    log_in(browser, staff.user.username)
    User.objects.update(is_active=False)
    assert code_of(browser.get(CLIENTS)) == (401, "not_authenticated")
    assert log_in(Browser(), staff.user.username).status_code == 200


def test_a_changed_password_ends_every_session(staff):
    """Whoever had her old password is out with the change."""
    browser = Browser()
    log_in(browser, staff.user.username)
    staff.user.set_password("another-pass-phrase")
    staff.user.save()
    assert browser.get(CLIENTS).status_code == 401


def body(staff):
    site = Client.objects.get().home_site_id
    return {"home_site": str(site), "given_name": "Ilo", "family_name": "Varga", "birth_date": "2022-01-02"}


@pytest.mark.parametrize("given", ["none", "wrong", "right"])
def test_a_change_by_session_carries_the_csrf_token(staff, given):
    """A page of another site cannot write with somebody's cookie: 403 and nothing written."""
    browser = Browser(enforce_csrf_checks=True)
    log_in(browser, staff.user.username)
    token = {"none": "", "wrong": "x" * 64, "right": browser.cookies["csrftoken"].value}[given]
    answer = browser.put(
        f"{CLIENTS}{make.new_id()}/",
        body(staff),
        content_type="application/json",
        headers={"X-CSRFToken": token} if token else {},
    )
    if given == "right":
        assert answer.status_code == 201
        return
    assert code_of(answer) == (403, "csrf_failed")
    assert Client.objects.count() == 1


def test_who_has_no_place_at_work_gets_nowhere():
    """A login alone, without a row of staff, reads nothing."""
    user = User.objects.create(username="no-place")
    browser = Browser()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    assert code_of(browser.get(CLIENTS)) == (403, "no_place_at_work")


@pytest.mark.parametrize(("last_day", "status"), [(-1, 403), (0, 200), (1, 200)])
def test_whoever_left_is_out_from_the_next_day(staff, last_day, status):
    """Her last day counts in her organization's zone."""
    Staff.objects.filter(pk=staff.pk).update(left_on=date(2026, 3, 3) + timedelta(last_day))
    with time_machine.travel("2026-03-03T15:00:00Z", tick=False):
        answer = make.signed_in(staff).get(CLIENTS)
    assert answer.status_code == status
    if status == 403:
        assert code_of(answer) == (403, "no_place_at_work")


def test_her_last_day_ends_at_the_organizations_midnight(staff):
    """At 23:30 in Chicago it is tomorrow by UTC, and she still works."""
    Staff.objects.filter(pk=staff.pk).update(left_on="2026-03-03")
    api = make.signed_in(staff)
    with time_machine.travel("2026-03-04T05:30:00Z", tick=False):
        assert api.get(CLIENTS).status_code == 200
    with time_machine.travel("2026-03-04T06:30:00Z", tick=False):
        assert api.get(CLIENTS).status_code == 403


@pytest.fixture
def two_places(staff):
    """She works in a second organization as well."""
    second = make.make_organization(name="Second")
    make.make_client(make.make_site(second), family_name="Second")
    place = make.make_staff(second, Role.FRONT_DESK)
    Staff.objects.filter(pk=place.pk).update(user=staff.user)
    return staff.organization, second


def test_who_works_in_two_places_names_one(staff, two_places):
    """Each shows its own children and never both; unnamed, neither does."""
    api = make.signed_in(staff)
    assert code_of(api.get(CLIENTS)) == (403, "no_place_at_work")
    for organization, family in zip(two_places, ("Ours", "Second"), strict=True):
        answer = api.get(CLIENTS, headers={"X-Organization": str(organization.pk)})
        assert [row["family_name"] for row in answer.json()["results"]] == [family]


@pytest.mark.parametrize(
    ("named", "expected"),
    [
        pytest.param("second", (400, "invalid_header"), id="a name"),
        pytest.param("", (400, "invalid_header"), id="empty"),
        pytest.param("x" * 10_000, (400, "invalid_header"), id="long"),
        pytest.param(make.new_id(), (403, "no_place_at_work"), id="unknown"),
    ],
)
def test_a_place_that_is_not_hers(staff, two_places, named, expected):
    """Neither a guess nor nonsense opens one."""
    answer = make.signed_in(staff).get(CLIENTS, headers={"X-Organization": named})
    assert code_of(answer) == expected


def test_the_place_of_another_is_not_hers(staff):
    """An organization that exists, where she does not work, answers as one that does not."""
    other = make.make_organization(name="Other")
    answer = make.signed_in(staff).get(CLIENTS, headers={"X-Organization": str(other.pk)})
    assert code_of(answer) == (403, "no_place_at_work")
