"""One request, one event, written in one statement: at every door, whoever asks and however it ends."""

from typing import Any

import pytest
import time_machine
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from clinic import audit
from clinic.api.account_trail import ACTS
from clinic.api.views import ApiView
from clinic.models import AccountEvent, AuditEvent
from tests.architecture.access_expected import EXPECTED
from tests.architecture.clinic_of_nine import PRINCIPALS, make_clinic
from tests.architecture.doors import ABOUT_THE_API, BASE, METHODS, NEW, every_door, every_route, named_acts
from tests.architecture.subjects import Ask, ask
from tests.factories import new_id

pytestmark = pytest.mark.django_db
# They show nothing of any record and let nobody in.
OF_NOTHING = {
    "health/",
    "livez/",
    "readyz/",
    "problems/<slug:code>/",
    ".well-known/oauth-authorization-server",
    ".well-known/oauth-protected-resource",
    *ABOUT_THE_API,
}
TRAIL = ("clinic_auditevent", "clinic_accountevent")


@pytest.fixture(autouse=True)
def _morning():
    with time_machine.travel("2026-04-15T15:00:00Z", tick=False):
        yield


def told(api: Any, method: str, asked: Ask, **headers: str) -> tuple[int, list[AuditEvent | AccountEvent], int]:
    """How one request was answered, the events that it left and in how many statements. Nothing of it stays."""
    known = {event.pk for event in (*AuditEvent.objects.all(), *AccountEvent.objects.all())}
    body = {"data": asked.body, "format": "json"} if asked.body is not None else {}
    with transaction.atomic(), CaptureQueriesContext(connection) as queries:
        answer = getattr(api, method.lower())(asked.url, **body, **headers)
        found = [event for event in (*AuditEvent.objects.all(), *AccountEvent.objects.all()) if event.pk not in known]
        transaction.set_rollback(True)
    statements = [
        q for q in queries.captured_queries if "INSERT INTO" in q["sql"] and any(t in q["sql"] for t in TRAIL)
    ]
    return answer.status_code, found, len(statements)


def headers_of(method: str) -> dict[str, str]:
    headers = {"HTTP_IF_MATCH": "*"} if method in ("PUT", "PATCH", "POST", "DELETE") else {}
    return headers | ({"HTTP_IDEMPOTENCY_KEY": new_id()} if method == "POST" else {})


def assert_told_once(clinic: Any, name: str, status: int, events: list[Any]) -> None:
    (event,) = events
    assert (event.status, event.outcome) == (status, str(audit.outcome_of(status)))
    if status >= 400:
        assert event.code
    if name == "anonymous":
        assert (type(event), event.user_id, status) == (AccountEvent, None, 401)
    elif name == "system":
        assert (event.actor_id, event.application.startswith("timetable-")) == (None, True)
    else:
        assert event.actor_id == clinic.people[name].pk
        assert event.roles == [clinic.people[name].roles.get().role]
        assert event.application == "session"


def one_of_each_answer(method: str, route: str) -> list[str]:
    """The first principal to whom the expected table gives each kind of answer."""
    answers = dict(zip(reversed(EXPECTED[f"{method} {route}"].split()), reversed(PRINCIPALS), strict=True))
    return sorted(answers.values())


@pytest.mark.parametrize(("method", "route"), named_acts(), ids=lambda value: str(value))
def test_each_request_leaves_one_event(method, route):
    """Made, refused, not found or not known: one event that says by whom, in which roles, and how it ended."""
    clinic = make_clinic()
    asked = ask(clinic, method, route)
    sent = "PUT" if method == NEW else method
    for name in one_of_each_answer(method, route):
        status, events, _ = told(clinic.callers[name], sent, asked, **headers_of(sent))
        assert_told_once(clinic, name, status, events)


@pytest.mark.parametrize("route", every_door())
def test_what_is_malformed_leaves_one_event(route):
    """An unknown parameter, a body that is none, a method that is not offered, an answer that is not given, a token
    that is none: one event each, in one statement."""
    clinic = make_clinic()
    api = clinic.callers["supervisor"]
    url = f"/{BASE}{route}".replace("<uuid:id>", new_id())
    wrong = [
        ("GET", Ask(url=f"{url}?unheard_of=1", body=None, key=""), {}),
        ("GET", Ask(url=url, body=None, key=""), {"HTTP_ACCEPT": "text/plain"}),
        ("GET", Ask(url=url, body=None, key=""), {"HTTP_X_ORGANIZATION": "none"}),
        ("GET", Ask(url=url, body=None, key=""), {"HTTP_AUTHORIZATION": "Bearer nobody-has-this"}),
        *((method, Ask(url=url, body=[1], key=""), headers_of(method)) for method in METHODS[1:]),
    ]
    for method, asked, headers in wrong:
        status, events, statements = told(api, method, asked, **headers)
        assert status >= 400, (method, headers)
        assert (len(events), statements) == (1, 1), (method, headers, status)
        assert (events[0].status, events[0].outcome, bool(events[0].code)) == (status, "refused", True)


def test_every_route_leaves_a_trail_or_shows_nothing():
    """A route is a door of the record, one before it whose acts are told, or one of those that show nothing."""
    before = {route for _, route in ACTS}
    for route, view in every_route().items():
        is_door = isinstance(view, type) and issubclass(view, ApiView)
        assert [is_door, route in before, route in OF_NOTHING].count(True) == 1, route


@pytest.mark.parametrize("name", ["supervisor", "anonymous"])
def test_no_answer_without_its_event(monkeypatch, name):
    """Where the event cannot be written, nothing of the record is answered."""
    clinic = make_clinic()
    asked = ask(clinic, "GET", "clients/<uuid:id>/")
    api = clinic.callers[name]
    api.raise_request_exception = False

    def fails(*args: Any) -> None:
        raise RuntimeError("the trail is full")

    monkeypatch.setattr(audit, "write", fails)
    monkeypatch.setattr(audit, "write_account", fails)
    answer = api.get(asked.url)
    assert answer.status_code == 500
    assert clinic.child.family_name not in answer.content.decode()


def test_an_event_too_many_would_be_seen(monkeypatch):
    """The control: a door that tells its event twice is found out."""
    clinic = make_clinic()
    asked = ask(clinic, "GET", "clients/<uuid:id>/")
    write = audit.write
    monkeypatch.setattr(audit, "write", lambda *args: [write(*args) for _ in range(2)])
    _, events, statements = told(clinic.callers["supervisor"], "GET", asked)
    assert (len(events), statements) == (2, 2)
