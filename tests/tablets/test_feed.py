"""Whatever a request makes or changes is told in the feed: a tablet that follows it holds no stale version."""

from typing import Any

import pytest
import time_machine
from django.apps import apps

from clinic.models import ChangeFeed
from clinic.models.base import VersionedModel
from scheduling.services import reach_of_bookings
from tests.architecture.access_expected import EXPECTED
from tests.architecture.clinic_of_nine import PRINCIPALS, make_clinic
from tests.architecture.doors import NEW, named_acts
from tests.architecture.subjects import Ask, ask
from tests.factories import new_id
from tests.tablets.put_subjects import new_body

pytestmark = pytest.mark.django_db
MODELS = [model for model in apps.get_models() if issubclass(model, VersionedModel)]


def letters(method: str, route: str) -> list[str]:
    return EXPECTED[f"{method} {route}"].split()


# A PUT of a new row is sent as tests/tablets/put_subjects.py says, so that each of them is taken.
WRITES = [act for act in named_acts() if act[0] != "GET" and (act[0] == NEW or "+" in letters(*act))]


@pytest.fixture(autouse=True)
def _morning():
    with time_machine.travel("2026-04-15T15:00:00Z", tick=False):
        yield


def versions() -> set[tuple[str, Any, int]]:
    return {(model.__name__, *row) for model in MODELS for row in model.objects.values_list("pk", "version")}


def untold(method: str, route: str) -> set[str]:
    """Which tables have a row that this request made or changed, and that the feed does not name."""
    clinic = make_clinic()
    if method == NEW:
        asked = Ask(f"/api/v1/{route}".replace("<uuid:id>", new_id()), new_body(clinic, route), "")
        sent, headers = "put", {}
    else:
        asked = ask(clinic, method, route)
        sent, headers = method.lower(), {"HTTP_IF_MATCH": "*", "HTTP_IDEMPOTENCY_KEY": new_id()}
    who = zip(PRINCIPALS, letters(method, route), strict=True)
    api = clinic.callers[next(name for name, letter in who if letter == "+" or (letter, method) == ("r", NEW))]
    before, told = versions(), set(ChangeFeed.objects.values_list("seq", flat=True))
    answer = getattr(api, sent)(asked.url, asked.body, format="json", **headers)
    assert answer.status_code < 300, answer.content
    fed = set(ChangeFeed.objects.exclude(seq__in=told).values_list("record_id", flat=True))
    return {name for name, key, _ in versions() - before if key not in fed}


@pytest.mark.parametrize(("method", "route"), WRITES)
def test_what_changes_is_told(method, route):
    """Every row whose version a request makes or moves on stands in the feed, in the same transaction."""
    assert untold(method, route) == set()


def test_a_change_that_is_not_told_would_be_seen(monkeypatch):
    """The control: a booking that puts somebody on a care team and tells nobody."""
    monkeypatch.setattr(reach_of_bookings, "_tell", lambda *asked: None)
    assert untold(NEW, "visits/<uuid:id>/") == {"CareTeam"}
