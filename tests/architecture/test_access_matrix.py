"""Every route, every method, every principal: what comes is compared with a table written out by hand."""

from typing import Any

import pytest
import time_machine
from django.db import transaction

from clinic.enums import Role
from clinic.rules.access import ACCESS, Action, Relation
from tests.architecture.access_expected import EXPECTED
from tests.architecture.clinic_of_nine import PRINCIPALS, make_clinic
from tests.architecture.doors import METHODS, NEW, every_door, list_doors, named_acts
from tests.architecture.subjects import Ask, ask
from tests.factories import new_id

pytestmark = pytest.mark.django_db
MORNING = "2026-04-15T15:00:00Z"
WORDS = {401: "1", 403: "3", 404: "4", 405: "5"}


@pytest.fixture(autouse=True)
def _morning():
    with time_machine.travel(MORNING, tick=False):
        yield


def knock(api: Any, method: str, asked: Ask) -> Any:
    """One request, of which nothing stays."""
    headers = {"HTTP_IDEMPOTENCY_KEY": new_id()} if method == "POST" else {}
    if method in ("PUT", "PATCH", "POST", "DELETE"):
        headers["HTTP_IF_MATCH"] = "*"
    send = getattr(api, "put" if method == NEW else method.lower())
    with transaction.atomic():
        answer = send(
            asked.url, **({"data": asked.body, "format": "json"} if asked.body is not None else {}), **headers
        )
        transaction.set_rollback(True)
    return answer


def seen(answer: Any, asked: Ask, *, shows_many: bool) -> str:
    """One letter for one answer; see access_expected.py."""
    if answer.status_code in (200, 201, 204):
        return "o" if shows_many and asked.key not in answer.content.decode() else "+"
    if answer.status_code in (409, 422):
        faults = [error["code"] for error in answer.json().get("errors", [])]
        return "x" if "not_found" in faults else "r"
    return WORDS.get(answer.status_code, f"[{answer.status_code}: {answer.content.decode()[:300]}]")


def answers(method: str, route: str) -> str:
    clinic = make_clinic()
    asked = ask(clinic, method, route)
    many = method == "GET" and ("<uuid:id>" not in route or route in list_doors())
    return " ".join(seen(knock(clinic.callers[name], method, asked), asked, shows_many=many) for name in PRINCIPALS)


@pytest.mark.parametrize(("method", "route"), named_acts(), ids=lambda value: str(value))
def test_who_may_do_it(method, route):
    """Each of nine gets the answer that the table says, and nobody learns of a row out of reach."""
    assert answers(method, route) == EXPECTED.get(f"{method} {route}")


def test_a_right_too_wide_would_be_seen(monkeypatch):
    """The control: were assistants to see every child of the organization, one answer would be another."""
    assert answers("GET", "clients/<uuid:id>/").split()[1] == "4"
    monkeypatch.setitem(ACCESS[Action.SEE_CLIENTS], Role.ASSISTANT, frozenset({Relation.ORGANIZATION}))
    assert answers("GET", "clients/<uuid:id>/").split()[1] == "+"


@pytest.mark.parametrize("route", every_door())
def test_a_method_without_an_action_is_not_offered(route):
    """Whoever asks, what no action names is refused; by whom it is asked makes no difference before it is."""
    clinic = make_clinic()
    for method in METHODS:
        if method in every_door()[route].actions:
            continue
        asked = Ask(url=f"/api/v1/{route}".replace("<uuid:id>", new_id()), body={}, key="")
        for name in ("administrator", "system", "anonymous"):
            status = knock(clinic.callers[name], method, asked).status_code
            assert status in ((401, 405) if name == "anonymous" else (403, 405)), (method, name)


def test_the_table_holds_no_ghosts():
    """A row of the table whose route is gone is taken out."""
    assert set(EXPECTED) - {f"{method} {route}" for method, route in named_acts()} == set()
