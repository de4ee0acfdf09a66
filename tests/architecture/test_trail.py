"""The trail of every door: whose record was shown or changed, what was refused, and what was given a second time."""

from typing import Any

import pytest
import time_machine

from clinic.models import AuditEvent, Client, SupervisoryContactClient
from tests import factories as make
from tests.architecture.access_expected import EXPECTED
from tests.architecture.clinic_of_nine import PRINCIPALS, make_clinic
from tests.architecture.doors import NEW, every_door, list_doors, named_acts
from tests.architecture.subjects import Ask, ask, one_more
from tests.factories import new_id

pytestmark = pytest.mark.django_db
MORNING = "2026-04-15T15:00:00Z"
# Doors that show nothing of any child.
OF_NOBODY = {
    "batch",  # its operations are told as if each had come alone; see tests/tablets/test_batch.py
    "contracted-hours",
    "credentials",
    "me",
    "note-templates",
    "notices",
    "organization",
    "reporting-periods",
    "rooms",
    "scales",
    "self-given-rights",  # who gave herself which right; the right itself is told with the row that it names
    "sites",
    "staff",
    "staff-roles",
    "successions",
    "supervisions",  # in one episode they are told; see test_supervision_in_one_episode
}
# What she signed was about children.
OF_A_CHILD = {"me/signatures/"}
# A contact stands beside nobody yet when she is entered.
BESIDE_NOBODY = {("NEW", "contacts/<uuid:id>/")}


@pytest.fixture(autouse=True)
def _morning():
    with time_machine.travel(MORNING, tick=False):
        yield


def send(api: Any, method: str, asked: Ask, key: str) -> Any:
    headers = {"HTTP_IDEMPOTENCY_KEY": key, "HTTP_IF_MATCH": "*"} if method in ("PUT", "PATCH", "POST") else {}
    sender = getattr(api, "put" if method == NEW else method.lower())
    given = {"data": asked.body, "format": "json"} if asked.body is not None else {}
    return sender(asked.url, **given, **headers)


def who_gets(method: str, route: str, letters: str) -> str | None:
    """The first principal to whom the expected table gives one of these answers."""
    answers = EXPECTED[f"{method} {route}"].split()
    return next((name for name, letter in zip(PRINCIPALS, answers, strict=True) if letter in letters), None)


def takes_key(act: tuple[str, str]) -> bool:
    method, route = act
    return method in ("PUT", "PATCH", "POST") and every_door()[route].takes_key


DONE = [act for act in named_acts() if who_gets(*act, "+")]
REFUSED = [act for act in named_acts() if who_gets(*act, "34")]


def ids_of(act: Any) -> str:
    return f"{act[0]} {act[1]}"


@pytest.mark.parametrize("act", DONE, ids=ids_of)
def test_whoever_is_shown_stands_in_the_trail(act):
    """Each door that shows or changes a child's record leaves that child's id beside its one event, and no other's."""
    method, route = act
    clinic = make_clinic()
    asked = ask(clinic, method, route)
    if route.startswith("supervisory-contacts/"):
        clinic.raw.row(SupervisoryContactClient)
    before = list(AuditEvent.objects.values_list("pk", flat=True))
    answer = send(clinic.callers[who_gets(method, route, "+")], method, asked, new_id())
    assert answer.status_code < 300, answer.content
    (event,) = AuditEvent.objects.exclude(pk__in=before)
    assert (event.route, event.status, event.outcome) == (f"api/v1/{route}", answer.status_code, "done")
    named = set(event.client_ids)
    if (route.split("/")[0] in OF_NOBODY and route not in OF_A_CHILD) or act in BESIDE_NOBODY:
        assert named == set()
        assert str(clinic.child.pk) not in answer.content.decode()
    elif act == (NEW, "clients/<uuid:id>/"):
        assert named == {event.subject_id}
    else:
        assert clinic.child.pk in named


@pytest.mark.parametrize("route", list_doors())
def test_each_child_of_a_page_stands_in_the_trail(route):
    """A page of many children names each of them."""
    clinic = make_clinic()
    asked = ask(clinic, "GET", route)
    for number in (2, 3):
        one_more(clinic, route, number)
    answer = clinic.callers[who_gets("GET", route, "+")].get(asked.url)
    assert answer.status_code == 200
    body = answer.content.decode()
    shown = {pk for pk in Client.objects.values_list("pk", flat=True) if str(pk) in body}
    named = {client for event in AuditEvent.objects.all() for client in event.client_ids}
    assert shown <= named


@pytest.mark.parametrize("act", REFUSED, ids=ids_of)
def test_a_refusal_stands_in_the_trail_without_the_child(act):
    """What was out of reach or not allowed is one line: who, where, that it was refused; it touched nobody."""
    method, route = act
    clinic = make_clinic()
    asked = ask(clinic, method, route)
    name = who_gets(method, route, "34")
    before = list(AuditEvent.objects.values_list("pk", flat=True))
    answer = send(clinic.callers[name], method, asked, new_id())
    assert answer.status_code in (403, 404)
    (event,) = AuditEvent.objects.exclude(pk__in=before)
    person = clinic.people.get(name)
    assert (event.actor_id, event.outcome, event.status) == (person and person.pk, "refused", answer.status_code)
    assert event.code == answer.json()["code"]
    assert event.touched == []


@pytest.mark.parametrize("act", [act for act in DONE if takes_key(act)], ids=ids_of)
def test_a_repeated_answer_stands_in_the_trail_as_the_first(act):
    """An answer that is kept under its key shows a record anew."""
    method, route = act
    clinic = make_clinic()
    asked, key = ask(clinic, method, route), new_id()
    api = clinic.callers[who_gets(method, route, "+")]
    first = send(api, method, asked, key)
    again = send(api, method, asked, key)
    assert (first.status_code, again.status_code, again["Idempotency-Replayed"]) == (again.status_code,) * 2 + ("true",)
    told = list(AuditEvent.objects.order_by("at", "pk"))
    assert set(told[0].touched) == set(told[1].touched)
    assert [event.code for event in told] == ["", "replayed"]


def test_supervision_in_one_episode_names_its_child():
    """It says who treats whom: the child stands in the trail of the list and of the row."""
    clinic = make_clinic()
    row = make.make_supervision(
        clinic.people["assistant"], clinic.people["supervisor"], scope="episode", episode=clinic.episode
    )
    for path in ("supervisions/", f"supervisions/{row.pk}/"):
        assert clinic.callers["administrator"].get(f"/api/v1/{path}").status_code == 200
    assert [event.touched for event in AuditEvent.objects.all()] == [[(clinic.child.pk, clinic.episode.pk)]] * 2
