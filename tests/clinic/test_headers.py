"""What every answer's headers promise a browser and a cache, and that no page needs more than this host."""

import json
import os
import re
import subprocess
import sys
from html.parser import HTMLParser
from urllib.parse import urljoin, urlsplit

import pytest
from django.contrib.staticfiles import finders
from django.test import Client as Browser

from clinic.api.session import LogOut
from clinic.enums import Role
from clinic.environment import TOP
from clinic.models import Client
from tests import factories as make
from tests.architecture.doors import every_route
from tests.clinic import oauth_flow as flow
from tests.clinic.test_environment import TEAM

pytestmark = pytest.mark.django_db
POLICY = {
    "default-src": "'self'",
    "img-src": "'self' data:",
    "object-src": "'none'",
    "base-uri": "'none'",
    "form-action": "'self'",
    "frame-ancestors": "'none'",
}
DOCS = "/api/v1/docs/"


class Page(HTMLParser):
    """What a page would load, where its forms go, and what it runs or styles inline."""

    def __init__(self) -> None:
        super().__init__()
        self.loads: list[str] = []
        self.inline: list[str] = []
        self.open = ""

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        self.loads += [given[name] for name in ("src", "href", "action", "data", "poster") if given.get(name)]
        self.inline += [f"{tag} {name}" for name in given if name == "style" or name.startswith("on")]
        self.open = tag

    def handle_data(self, data):
        if self.open in ("script", "style") and data.strip():
            self.inline.append(self.open)


def read(answer):
    page = Page()
    page.feed(answer.content.decode())
    return page


@pytest.fixture
def browser():
    organization = make.make_organization()
    make.make_client(make.make_site(organization))
    staff = make.make_staff(organization, Role.FRONT_DESK)
    browser = Browser()
    browser.force_login(staff.user, backend="django.contrib.auth.backends.ModelBackend")
    return browser


def policy_of(answer):
    return dict(part.strip().split(" ", 1) for part in answer["Content-Security-Policy"].split(";"))


@pytest.mark.parametrize(
    "path",
    ["/api/v1/clients/", "/api/v1/nothing/", "/nothing", "/login/", "/health/", DOCS, "/api/v1/openapi.json"],
)
def test_every_answer_carries_the_safe_headers(path):
    """Common practice: no guessing of types, no framing, no address told to others, nothing loaded from elsewhere."""
    answer = Browser().get(path)
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["X-Frame-Options"] == "DENY"
    assert answer["Referrer-Policy"] == "same-origin"
    assert policy_of(answer) == POLICY
    assert answer["X-Request-ID"]
    assert "Server" not in answer


def test_no_answer_of_the_record_is_kept_by_a_cache(browser):
    """RFC 9111, section 5.2.2.5: reads, refusals and the way to a token alike."""
    child = Client.objects.get()
    url = f"/api/v1/clients/{child.pk}/"
    answers = [
        browser.get("/api/v1/clients/"),
        browser.get(url),
        browser.get(url, headers={"If-None-Match": '"1"'}),
        browser.get(f"/api/v1/clients/{make.new_id()}/"),
        browser.put(url, {}, content_type="application/json"),
        Browser().get(url),
        Browser().get("/login/"),
        Browser().post("/oauth/token/", {}),
        browser.get(flow.asking(flow.public_application())),
    ]
    assert [answer.status_code for answer in answers] == [200, 200, 304, 404, 400, 401, 200, 400, 200]
    assert [answer["Cache-Control"] for answer in answers if "no-store" not in answer["Cache-Control"]] == []
    assert {"Authorization", "Cookie", "Accept"} <= set(re.split(r",\s*", answers[0]["Vary"]))


@pytest.mark.parametrize("path", ["/login/", "consent", "refused consent", DOCS])
def test_a_page_needs_nothing_inline_and_no_other_host(browser, path):
    """So the policy can forbid both; the addresses are read out of the page itself."""
    application = flow.public_application()
    pages = {
        "consent": flow.asking(application),
        "refused consent": flow.asking(application, redirect_uri="https://x/"),
    }
    answer = (Browser() if path == "/login/" else browser).get(pages.get(path, path))
    assert answer.headers["Content-Type"].startswith("text/html")
    page = read(answer)
    assert page.inline == []
    assert {urlsplit(urljoin("http://testserver/", address)).netloc for address in page.loads} <= {"testserver"}


def test_no_page_is_left_out_of_these_tests():
    """Whatever route fills a template is one of the pages above."""
    shows_a_page = {
        route for route, view in every_route().items() if getattr(view, "template_name", None) and view is not LogOut
    }
    assert shows_a_page == {"login/", "oauth/authorize/", DOCS.removeprefix("/")}


def test_the_pages_scripts_are_served_by_this_host(browser):
    """Each file that the page of the API names is there; its own script is a script and reads our document."""
    page = read(browser.get(DOCS))
    assert len(page.loads) == 4
    for address in page.loads:
        if address.startswith("/static/"):
            assert finders.find(address.removeprefix("/static/")), address
        else:
            script = browser.get(urljoin(DOCS, address))
            assert (script.status_code, script["Content-Type"]) == (200, "application/javascript")
            text = script.content.decode()
    assert 'url: "/api/v1/openapi.json"' in text.replace("\\u002D", "-")
    assert '"validatorUrl": null' in text
    assert re.findall(r"https?://", text) == []


def test_a_script_cannot_be_put_into_the_pages(browser):
    """What stands in the address of a page comes back as text."""
    crafted = "?next=%22%3E%3Cscript%3Ealert(1)%3C/script%3E"
    for path in ("/login/", DOCS):
        answer = Browser().get(path + crafted)
        assert b"<script>alert" not in answer.content
        assert read(answer).inline == []


ASK_A_TEAM = """
import json, django
django.setup()
from django.test import Client
browser = Client(HTTP_HOST="record.example")
safe, plain, live = browser.get("/login/", secure=True), browser.get("/login/"), browser.get("/livez/")
cookie = safe.cookies["__Host-csrftoken"]
told = [safe["Strict-Transport-Security"], cookie["secure"], plain.status_code, plain["Location"], live.status_code]
from django.conf import settings
bound = [cookie["path"], cookie["domain"], settings.SESSION_COOKIE_NAME]
print(json.dumps([*told, settings.SESSION_COOKIE_SECURE, *bound]))
"""


def test_over_tls_browsers_are_told_to_stay_there(tmp_path):
    """As a team runs it: a year of HSTS, cookies that never travel in clear, a redirect from plain HTTP."""
    given = {**TEAM, "PATH": os.environ["PATH"], "VAR_DIR": str(tmp_path), "DJANGO_SETTINGS_MODULE": "clinic.settings"}
    done = subprocess.run([sys.executable, "-c", ASK_A_TEAM], cwd=TOP, env=given, capture_output=True, timeout=60)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout) == [
        "max-age=31536000; includeSubDomains; preload",
        True,
        301,
        "https://record.example/login/",
        200,
        True,
        "/",
        "",
        "__Host-sessionid",
    ]
