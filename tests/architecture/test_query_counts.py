"""Every list costs the same number of queries however many rows it shows."""

from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from clinic.api.clients import ClientList
from tests.architecture.access_expected import EXPECTED
from tests.architecture.clinic_of_nine import PRINCIPALS, make_clinic
from tests.architecture.doors import list_doors
from tests.architecture.subjects import ask, one_more

pytestmark = pytest.mark.django_db
TELLS_OF_ITSELF = {"clients/<uuid:id>/accesses/"}  # having asked for it is an access


@pytest.fixture(autouse=True)
def _morning():
    with time_machine.travel("2026-04-15T15:00:00Z", tick=False):
        yield


def first_who_sees(route: str) -> str:
    return next(name for name, word in zip(PRINCIPALS, EXPECTED[f"GET {route}"].split(), strict=True) if word == "+")


def cost_of(api: Any, url: str) -> tuple[int, int]:
    """How many rows a page shows, and how many queries that took."""
    with CaptureQueriesContext(connection) as queries:
        answer = api.get(url)
    assert answer.status_code == 200, answer.content
    return len(answer.json()["results"]), len(queries)


def costs(route: str) -> tuple[tuple[int, int], tuple[int, int]]:
    """What the list costs as it is, and with five rows more."""
    clinic = make_clinic()
    asked = ask(clinic, "GET", route)
    api = clinic.callers[first_who_sees(route)]
    cost_of(api, asked.url)
    before = cost_of(api, asked.url)
    for number in range(2, 7):
        one_more(clinic, route, number)
    return before, cost_of(api, asked.url)


@pytest.mark.parametrize("route", list_doors())
def test_a_longer_list_costs_no_more_queries(route):
    """Five rows more are read in the same number of statements."""
    (shown, queries), (shown_now, queries_now) = costs(route)
    assert shown >= 1
    assert shown_now == shown + 5 + (route in TELLS_OF_ITSELF)
    assert queries_now == queries


def test_a_query_for_each_row_would_be_seen(monkeypatch):
    """The control: a list that asks once more for each of its rows costs five queries more."""
    shown = ClientList.shown

    def asking_again(door, rows):
        for row in rows:
            row.refresh_from_db()
        return shown(door, rows)

    monkeypatch.setattr(ClientList, "shown", asking_again)
    (_, queries), (_, queries_now) = costs("clients/")
    assert queries_now == queries + 5
