"""Nobody asks faster than the limit, each is counted by herself, and the count costs nobody the record."""

import socket
import threading
from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from django.test import Client as Browser

from clinic import limits
from clinic.enums import Role
from clinic.limits import Here, charge
from clinic.models import AuditEvent
from tests import factories as make
from tests.clinic import oauth_flow as flow
from tests.clinic.test_session import log_in

CLIENTS = "/api/v1/clients/"
NOON = "2026-03-03T12:00:20Z"
AT_NOON = datetime(2026, 3, 3, 12, 0, 20, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _few(settings):
    settings.REDIS_URL = None
    settings.REQUESTS_A_MINUTE = {"person": 3, "unknown": 2, "sign_in": 2, "token": 2}
    limits._counter.cache_clear()
    with time_machine.travel(NOON, tick=False) as clock:
        yield clock
    limits._counter.cache_clear()


@pytest.fixture
def desk(db):
    return make.make_staff(make.make_organization(), Role.FRONT_DESK)


def told(answer):
    return answer.status_code, answer["RateLimit-Policy"], answer["RateLimit"], answer.get("Retry-After")


def test_the_limit_is_announced_and_kept(desk, _few):
    """draft-ietf-httpapi-ratelimit-headers: what is left, and for how long; then 429 with Retry-After (RFC 6585)."""
    api = make.signed_in(desk)
    policy = '"person";q=3;w=60'
    assert [told(api.get(CLIENTS)) for _ in range(4)] == [
        (200, policy, '"person";r=2;t=40', None),
        (200, policy, '"person";r=1;t=40', None),
        (200, policy, '"person";r=0;t=40', None),
        (429, policy, '"person";r=0;t=40', "41"),
    ]
    refusal = api.get(CLIENTS)
    assert (refusal["Content-Type"], refusal.json()["code"]) == ("application/problem+json", "throttled")
    assert list(AuditEvent.objects.order_by("at", "pk").values_list("status", flat=True)) == [200] * 3 + [429] * 2
    _few.shift(timedelta(seconds=40))
    assert api.get(CLIENTS).status_code == 200


def test_a_refused_request_has_done_nothing(desk):
    """A write over the limit leaves no row."""
    organization = make.make_site(desk.organization)
    api = make.signed_in(desk)
    for _ in range(3):
        api.get(CLIENTS)
    body = {"home_site": str(organization.pk), "given_name": "Ilo", "family_name": "Varga", "birth_date": "2022-01-02"}
    assert api.put(f"{CLIENTS}{make.new_id()}/", body, format="json").status_code == 429
    assert api.get(CLIENTS).status_code == 429
    assert not make.Client.objects.exists()


def test_each_is_counted_by_herself(desk):
    """Who shares an address with a colleague is not refused for her."""
    first, second = make.signed_in(desk), make.signed_in(make.make_staff(desk.organization, Role.FRONT_DESK))
    assert [first.get(CLIENTS).status_code for _ in range(4)] == [200, 200, 200, 429]
    assert second.get(CLIENTS).status_code == 200


def test_guessed_tokens_are_counted_by_address(desk):
    """429 after the limit; whoever is known from the same address is still let in."""
    asked = [flow.get(CLIENTS, "made-up") for _ in range(3)]
    assert [answer.status_code for answer in asked] == [401, 401, 429]
    assert asked[0]["RateLimit"] == '"unknown";r=1;t=40'
    assert make.signed_in(desk).get(CLIENTS).status_code == 200
    elsewhere = Browser(REMOTE_ADDR="203.0.113.7")
    assert elsewhere.get(CLIENTS).status_code == 401


@pytest.mark.django_db
@pytest.mark.parametrize("path", ["/oauth/token/", "/oauth/introspect/", "/oauth/revoke_token/"])
def test_the_doors_of_tokens_are_limited_by_address(path):
    """Before any secret is compared."""
    codes = [Browser().post(path, {"client_id": "x"}).status_code for _ in range(3)]
    assert codes[2] == 429
    assert 429 not in codes[:2]


def test_signing_in_is_limited_by_address_before_the_password_is_hashed(desk, monkeypatch):
    """A hash costs more than anything else that a stranger can ask for."""
    tries = [log_in(Browser(), "nobody", "wrong").status_code for _ in range(2)]
    hashed = []
    monkeypatch.setattr("django.contrib.auth.hashers.make_password", lambda *given, **_: hashed.append(given))
    refusal = log_in(Browser(), "nobody", "wrong")
    assert (tries, refusal.status_code, refusal["Retry-After"]) == ([200, 200], 429, "40")
    assert hashed == []
    assert Browser().get("/login/").status_code == 200


def test_threads_lose_no_count():
    """Eight threads, 1,000 requests each: 8,000."""
    counter = Here()
    threads = [threading.Thread(target=lambda: [counter.add("a/1") for _ in range(1000)]) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert counter.add("a/1") == 8001


def test_what_was_counted_before_this_minute_is_forgotten():
    """So the process holds one minute's callers and no more."""
    counter = Here()
    for number in range(100):
        counter.add(f"{number}/1")
    assert counter.add("0/2") == 1
    assert len(counter._counted) == 1


def test_a_redis_that_is_down_refuses_nobody(settings):
    """It costs a quarter of a second once, and is then left alone for a while."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        settings.REDIS_URL = f"redis://127.0.0.1:{free.getsockname()[1]}/0"
    limits._counter.cache_clear()
    standings = [charge("person", "somebody", now=AT_NOON) for _ in range(10)]
    assert not any(standing.exceeded for standing in standings)
    assert limits._counter(settings.REDIS_URL)._asked_again_at > 0
