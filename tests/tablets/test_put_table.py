"""A PUT under an id that the tablet made, at every route that takes one: what it answers, whatever happened before.

The table is the project's own; what each precondition means is RFC 9110, sections 13.1.1, 13.1.2 and 13.2.2.
"""

from dataclasses import dataclass
from typing import Any

import pytest
import time_machine
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from clinic.enums import Role
from clinic.models import ChangeFeed
from tests.architecture.access_expected import EXPECTED
from tests.architecture.clinic_of_nine import PRINCIPALS, Clinic, make_clinic
from tests.architecture.doors import NEW, every_door
from tests.architecture.subjects import ask
from tests.factories import make_staff, new_id, signed_in
from tests.tablets.put_subjects import OTHERWISE, new_body

pytestmark = pytest.mark.django_db
PUTS = [route for route, view in every_door().items() if "PUT" in view.actions]
WRITES = ("INSERT", "UPDATE", "DELETE")


@pytest.fixture(autouse=True)
def _morning():
    with time_machine.travel("2026-04-15T15:00:00Z", tick=False):
        yield


@dataclass
class Put:
    """A row that is not there yet, what somebody who may make it sends, and what else she might have sent."""

    clinic: Clinic
    api: APIClient
    route: str
    url: str
    body: dict[str, Any]

    def sent(self, body: dict[str, Any] | None = None, **headers: str) -> Any:
        return self.api.put(self.url, body or self.body, format="json", **headers)

    @property
    def otherwise(self) -> dict[str, Any]:
        return self.body | OTHERWISE[self.route]


def put_at(route: str) -> Put:
    clinic = make_clinic()
    letters = EXPECTED[f"{NEW} {route}"].split()
    maker = next(name for name, letter in zip(PRINCIPALS, letters, strict=True) if letter in "+r")
    url = f"/api/v1/{route}".replace("<uuid:id>", new_id())
    return Put(clinic, clinic.callers[maker], route, url, new_body(clinic, route))


@pytest.fixture(params=PUTS)
def put(request) -> Put:
    return put_at(request.param)


def test_without_a_precondition(put):
    """Nothing there: 201, with its ETag and its place. The same content again, from a tablet that never heard the
    answer: 200, and only the trail is written. Other content: 428 with the ETag to look at first."""
    made = put.sent()
    assert (made.status_code, made["Location"]) == (201, put.url), made.content
    told = ChangeFeed.objects.count()
    with CaptureQueriesContext(connection) as queries:
        again = put.sent()
    assert (again.status_code, again["ETag"], again.json()) == (200, made["ETag"], made.json())
    written = [q["sql"] for q in queries.captured_queries if q["sql"].split()[0] in WRITES]
    assert [sql for sql in written if "clinic_auditevent" not in sql] == []
    refused = put.sent(put.otherwise)
    assert (refused.status_code, refused.json()["code"]) == (428, "precondition_required")
    assert refused.json()["current_etag"] == made["ETag"]
    assert ChangeFeed.objects.count() == told
    read = put.api.get(put.url)
    assert (read["ETag"], read.json()) == (made["ETag"], made.json())


def test_if_match_says_which_version_is_changed(put):
    """Nothing there: 412 for any tag and for *. There: 412 for a stale tag and for a weak one, since the comparison
    is strong, with what is there and what was sent; the present one is taken (RFC 9110, 13.1.1)."""
    for tag in ('"1"', "*"):
        refused = put.sent(HTTP_IF_MATCH=tag)
        assert (refused.status_code, set(refused.json()) & {"current", "current_etag", "sent"}) == (412, set())
    assert put.api.get(put.url).status_code == 404
    made = put.sent()
    for stale in ('"999"', f"W/{made['ETag']}", '"998", "999"'):
        refused = put.sent(put.otherwise, HTTP_IF_MATCH=stale)
        assert (refused.status_code, refused.json()["current_etag"]) == (412, made["ETag"]), stale
        assert (refused.json()["current"], refused.json()["sent"]) == (made.json(), put.otherwise)
    assert put.api.get(put.url).json() == made.json()
    taken = put.sent(HTTP_IF_MATCH=f'"999", {made["ETag"]}')
    assert taken.status_code == 200, taken.content


def test_if_none_match_any_makes_and_never_changes(put):
    """201 where nothing is, 412 where something is, even with the same content (RFC 9110, 13.1.2)."""
    made = put.sent(HTTP_IF_NONE_MATCH="*")
    assert made.status_code == 201, made.content
    for body in (put.body, put.otherwise):
        refused = put.sent(body, HTTP_IF_NONE_MATCH="*")
        assert (refused.status_code, refused.json()["current_etag"]) == (412, made["ETag"])
    assert put.api.get(put.url).json() == made.json()


# RFC 9110, 13.2.2: step 1 is If-Match, step 3 If-None-Match; what is false ends it with 412.
ORDER = [
    ("a true step 1, a false step 3", {"HTTP_IF_MATCH": "{etag}", "HTTP_IF_NONE_MATCH": "*"}, 412),
    ("a false step 1, a true step 3", {"HTTP_IF_MATCH": '"999"', "HTTP_IF_NONE_MATCH": '"999"'}, 412),
    ("a true step 1, step 3 matches", {"HTTP_IF_MATCH": "{etag}", "HTTP_IF_NONE_MATCH": "{etag}"}, 412),
    ("step 3 compares weakly", {"HTTP_IF_MATCH": "{etag}", "HTTP_IF_NONE_MATCH": "W/{etag}"}, 412),
    ("both true", {"HTTP_IF_MATCH": "{etag}", "HTTP_IF_NONE_MATCH": '"999"'}, 200),
    ("a false step 3 alone", {"HTTP_IF_NONE_MATCH": "{etag}"}, 412),
    ("a true step 3 alone", {"HTTP_IF_NONE_MATCH": '"999"'}, 200),
    ("any", {"HTTP_IF_MATCH": "*"}, 200),
]


def test_preconditions_in_the_order_of_the_standard(put):
    """If-Match first, then If-None-Match, each as the standard reads it (RFC 9110, 13.2.2)."""
    put.sent()
    for case, headers, status in ORDER:
        etag = put.api.get(put.url)["ETag"]
        given = {name: value.replace("{etag}", etag) for name, value in headers.items()}
        assert put.sent(**given).status_code == status, case


def test_a_date_is_no_precondition_here():
    """If-Modified-Since counts for GET alone, If-Unmodified-Since only where a modification date is told (RFC 9110,
    13.1.3 and 13.1.4): neither says which version was seen, and neither stops a change."""
    put = put_at("clients/<uuid:id>/")
    etag = put.sent()["ETag"]
    long_ago = "Sat, 29 Oct 1994 19:43:31 GMT"
    dated = {"HTTP_IF_UNMODIFIED_SINCE": long_ago, "HTTP_IF_MODIFIED_SINCE": long_ago}
    assert put.sent(**dated).status_code == 200
    assert put.sent(put.otherwise, **dated).status_code == 428
    assert put.sent(HTTP_IF_MATCH=etag, **dated).status_code == 200


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        pytest.param({"HTTP_IF_MATCH": "{etag}", "HTTP_IF_NONE_MATCH": "{etag}"}, 304, id="step 3 answers a read"),
        pytest.param({"HTTP_IF_MATCH": '"999"', "HTTP_IF_NONE_MATCH": "{etag}"}, 412, id="a false step 1 ends it"),
        pytest.param({"HTTP_IF_NONE_MATCH": "W/{etag}"}, 304, id="weakly"),
        pytest.param({"HTTP_IF_NONE_MATCH": '"999"'}, 200, id="changed since"),
    ],
)
def test_preconditions_of_a_read(headers, status):
    """The same order for GET, where a false step 3 answers 304 (RFC 9110, 13.2.2)."""
    put = put_at("clients/<uuid:id>/")
    etag = put.sent()["ETag"]
    given = {name: value.replace("{etag}", etag) for name, value in headers.items()}
    assert put.api.get(put.url, **given).status_code == status


@pytest.mark.parametrize(
    ("method", "url", "headers", "status"),
    [
        pytest.param("put", "/api/v1/clients/{id}/", {"HTTP_AUTHORIZATION": "Bearer nobody"}, 401, id="not known"),
        pytest.param("patch", "/api/v1/clients/{new}/", {}, 404, id="not there"),
        pytest.param("post", "/api/v1/clients/{id}/", {}, 405, id="not offered"),
        pytest.param("put", "/api/v1/organization/", {}, 405, id="not offered there"),
    ],
)
def test_preconditions_are_ignored_where_the_answer_is_another(method, url, headers, status):
    """What would not be 2xx or 412 without them is answered as it is (RFC 9110, 13.2.1)."""
    put = put_at("clients/<uuid:id>/")
    put.sent()
    named = url.replace("{id}", put.url.split("/")[-2]).replace("{new}", new_id())
    for condition in ({}, {"HTTP_IF_MATCH": '"999"'}, {"HTTP_IF_NONE_MATCH": "*"}):
        body = {"preferred_name": "Mira"} if method == "patch" else put.body
        answer = getattr(put.api, method)(named, body, format="json", **headers, **condition)
        assert answer.status_code == status


@pytest.mark.parametrize("route", PUTS)
def test_an_id_out_of_reach_is_one_that_is_not_there(route):
    """404 under every precondition, to whoever may make such rows elsewhere, and nothing is written."""
    clinic = make_clinic()
    asked = ask(clinic, "PUT", route)
    letters = EXPECTED[f"PUT {route}"].split()
    far = [clinic.callers[name] for name, letter in zip(PRINCIPALS, letters, strict=True) if letter == "4"]
    foreign = clinic.people["stranger"].organization
    far.append(signed_in(make_staff(foreign, Role.THERAPIST, Role.ADMINISTRATOR)))
    told = ChangeFeed.objects.count()
    for api in far:
        for headers in ({}, {"HTTP_IF_MATCH": '"1"'}, {"HTTP_IF_MATCH": "*"}, {"HTTP_IF_NONE_MATCH": "*"}):
            with transaction.atomic():
                answer = api.put(asked.url, asked.body, format="json", **headers)
            assert (answer.status_code, "current_etag" in answer.json()) == (404, False), headers
    assert ChangeFeed.objects.count() == told
