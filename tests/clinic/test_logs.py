"""Log lines carry ids, routes and verbs: no name, no query string, no content, no message of an exception."""

import io
import json
import logging

import pytest
import structlog
from django.conf import settings
from django.db import IntegrityError, connection
from django.test import Client as Browser

from clinic.enums import Role
from clinic.logs import FIELDS
from clinic.models import Client, User
from clinic.selectors import clients
from tests import factories as make

pytestmark = pytest.mark.django_db
CANARY = "Quillfeather"


@pytest.fixture
def log():
    """Everything that the service's own handlers would write."""
    stream = io.StringIO()
    handler = logging.StreamHandler(stream)
    handler.setFormatter(formatter())
    root = logging.getLogger()
    level = root.level
    root.addHandler(handler)
    root.setLevel(logging.INFO)
    yield stream
    root.setLevel(level)
    root.removeHandler(handler)


def formatter():
    options = dict(settings.LOGGING["formatters"]["json"])
    return options.pop("()")(**options)


@pytest.fixture
def desk():
    organization = make.make_organization(name=CANARY)
    make.make_client(make.make_site(organization, name=CANARY), family_name=CANARY)
    user = User.objects.create(username=f"{CANARY}-user", first_name=CANARY)
    return make.make_staff(organization, Role.FRONT_DESK, printed_name=CANARY, user=user)


@pytest.fixture
def browser(desk):
    browser = Browser(raise_request_exception=False)
    browser.force_login(desk.user, backend="django.contrib.auth.backends.ModelBackend")
    return browser


def lines(log):
    """Each line as it is parsed; that no canary is in any is checked on the raw text."""
    assert CANARY.lower() not in log.getvalue().lower()
    found = [json.loads(line) for line in log.getvalue().splitlines()]
    assert found
    assert all(set(line) <= FIELDS | {"where"} for line in found)
    return found


def test_a_request_leaves_one_line_without_content(browser, log):
    """The route stands for the path, and the query and the body are not there."""
    child = Client.objects.get()
    browser.get(f"/api/v1/clients/?search={CANARY}", headers={"User-Agent": CANARY, "Referer": f"https://{CANARY}/"})
    browser.put(f"/api/v1/clients/{child.pk}/", {"given_name": CANARY}, content_type="application/json")
    browser.get(f"/api/v1/clients/{child.pk}/")
    asked = [(line["event"], line["method"], line["route"], line["status"]) for line in lines(log)]
    assert asked == [
        ("answered", "GET", "api/v1/clients/", 400),
        ("answered", "PUT", "api/v1/clients/<uuid:id>/", 400),
        ("answered", "GET", "api/v1/clients/<uuid:id>/", 200),
    ]


def test_a_path_that_leads_nowhere_is_not_quoted(browser, log):
    """Somebody may have typed a name into it."""
    browser.get(f"/api/v1/clients/{CANARY}/")
    browser.get(f"/{CANARY}")
    assert [(line["route"], line["status"]) for line in lines(log)] == [("", 404), ("", 404)]


@pytest.mark.parametrize("failure", [RuntimeError, ValueError, KeyError])
def test_a_failure_is_placed_without_its_message(browser, log, monkeypatch, failure):
    """The class and the places in the code are enough to find it; the caller hears of neither."""

    def broken(*args, **kwargs):
        raise failure(f"{CANARY} was born on 2021-05-17")

    monkeypatch.setattr(clients, "clients_for", broken)
    answer = browser.get("/api/v1/clients/")
    assert (answer.status_code, answer["Content-Type"]) == (500, "application/problem+json")
    assert set(answer.json()) == {"type", "title", "status", "code", "request_id"}
    failed = [line for line in lines(log) if line["event"] == "failed"]
    assert [line["where"][0] for line in failed] == [failure.__name__]
    assert any(place.endswith(" broken") for place in failed[0]["where"])
    assert failed[0]["request_id"] == answer["X-Request-ID"]


def test_the_databases_own_words_stay_out(desk, log):
    """PostgreSQL quotes the row that it refused."""
    child = Client.objects.get()
    with pytest.raises(IntegrityError) as error, connection.cursor() as cursor:
        cursor.execute("UPDATE clinic_client SET birth_date = NULL WHERE id = %s", [child.pk])
    assert CANARY in str(error.value)
    logging.getLogger("django.request").error("Internal Server Error: %s", error.value, exc_info=error.value)
    assert [line["event"] for line in lines(log)] == ["Internal Server Error: %s"]


def test_a_worker_says_which_task_failed_and_not_why_in_words(log):
    """The background worker's library fills arguments and the exception's text into its message."""
    context = {"name": "clinic.deliver_outbox", "id": "1", "exc": f"ValueError('{CANARY}')", "args": f"['{CANARY}']"}
    logging.getLogger("celery.app.trace").error(
        "Task %(name)s[%(id)s] raised unexpected: %(exc)s", context, extra={"data": context}
    )
    assert [(line["event"], line["task"]) for line in lines(log)] == [
        ("Task %(name)s[%(id)s] raised unexpected: %(exc)s", "clinic.deliver_outbox")
    ]


def test_a_missed_login_does_not_name_the_account(desk, log):
    """Nor the password that was tried, which is often another one's right one."""
    for _ in range(11):
        Browser().post("/login/", {"username": f"{CANARY}-user", "password": CANARY})
    assert lines(log)[-1]["status"] == 429


def test_what_a_caller_logs_beside_the_list_is_dropped(log):
    """A field that nobody put on the list does not reach a line, whoever writes it."""
    structlog.get_logger("test").warning("noticed", name=CANARY, code="x", detail=CANARY)
    line = lines(log)[0]
    assert (line["event"], line["code"], "name" in line) == ("noticed", "x", False)


def test_the_frameworks_own_server_writes_no_query_strings():
    """Its access line quotes the whole address; the service has a line of its own."""
    assert not logging.getLogger("django.server").isEnabledFor(logging.WARNING)
