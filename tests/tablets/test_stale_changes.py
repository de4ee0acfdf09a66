"""Two devices, one row: whoever changes what has changed meanwhile is shown what is there, and nothing is written."""

import json
from typing import Any

import pytest
import time_machine
from rest_framework.test import APIClient

from clinic.models import AuditEvent, ChangeFeed
from tests.architecture.access_expected import EXPECTED
from tests.architecture.clinic_of_nine import PIN, PRINCIPALS, make_clinic
from tests.architecture.doors import every_door
from tests.architecture.subjects import ask
from tests.factories import new_id
from tests.tablets.applications import token_of

pytestmark = pytest.mark.django_db
STALE = {"HTTP_IF_MATCH": '"999"'}
ACTS = [
    (method, route)
    for route, view in every_door().items()
    for method in ("PATCH", "POST")
    if method in view.actions and view.changes_version
]


@pytest.fixture(autouse=True)
def _morning():
    with time_machine.travel("2026-04-15T15:00:00Z", tick=False):
        yield


def who_may(method: str, route: str) -> str:
    letters = EXPECTED[f"{method} {route}"].split()
    return next(name for name, letter in zip(PRINCIPALS, letters, strict=True) if letter == "+")


def sent(api: APIClient, method: str, url: str, body: Any) -> Any:
    headers = {"HTTP_IDEMPOTENCY_KEY": new_id()} if method == "POST" else {}
    return getattr(api, method.lower())(url, body, format="json", **STALE, **headers)


@pytest.mark.parametrize(("method", "route"), ACTS)
def test_a_stale_change_is_shown_what_is_there(method, route):
    """412 with the row as it is now under its ETag, and for a PATCH what was sent; never a PIN. The trail names whose
    record was shown, and nothing else is written."""
    clinic = make_clinic()
    asked, name = ask(clinic, method, route), who_may(method, route)
    before = ChangeFeed.objects.count()
    refused = sent(clinic.callers[name], method, asked.url, asked.body)
    told = refused.json()
    assert (refused.status_code, told["code"]) == (412, "precondition_failed")
    assert told["current_etag"] == f'"{told["current"]["version"]}"'
    assert told.get("sent") == (asked.body if method == "PATCH" else None)
    assert PIN not in json.dumps(told)
    assert ChangeFeed.objects.count() == before
    event = AuditEvent.objects.get()
    assert (event.outcome, event.status) == ("refused", 412)
    children = [client for client, _ in event.touched]
    named = told["current"].get("client") or (told["current"]["id"] if route.startswith("clients/") else None)
    assert named is None or str(clinic.child.pk) in map(str, children)


@pytest.mark.parametrize(("scope", "shown"), [("clients:write", False), ("clients:write clients:read", True)])
def test_who_may_not_read_is_shown_nothing(scope, shown):
    """An application that was given the right to change alone learns that it is stale, and no more."""
    clinic = make_clinic()
    asked = ask(clinic, "PATCH", "clients/<uuid:id>/")
    refused = sent(token_of(clinic.people["supervisor"], scope), "PATCH", asked.url, asked.body)
    assert (refused.status_code, "current" in refused.json()) == (412, shown)
    assert [len(event.touched) for event in AuditEvent.objects.all()] == [int(shown)]
