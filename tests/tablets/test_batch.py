"""What a tablet queued without a connection: each operation done once, answered by itself, refused as if alone."""

from typing import Any

import pytest
import time_machine
from django.db import OperationalError

from clinic.enums import Role
from clinic.models import AuditEvent, Document, OutboxMessage, SigningPin
from scheduling.enums import OperationMethod, OperationOutcome
from scheduling.models import Participation, ParticipationChange
from scheduling.rules.batches import outcome_of
from scheduling.services import steps
from tests import factories as make
from tests.architecture.doors import every_door
from tests.scheduling.flow import PIN, Flow
from tests.tablets.applications import token_of

pytestmark = pytest.mark.django_db
DAY = "2026-03-31"
HOME_AGAIN = f"{DAY} 12:00"


@pytest.fixture
def flow():
    return Flow()


@pytest.fixture
def part(flow):
    """The child's part of a visit that was booked the day before."""
    return flow.book(f"{DAY} 09:00", at="2026-03-30 09:00").json()["children"][0]["id"]


def operation(method: str, path: str, body: dict[str, Any], **more: str) -> dict[str, Any]:
    return {"key": make.new_id(), "method": method, "path": f"/api/v1/{path}", "body": body, **more}


def check_in(part: str, **more: str) -> dict[str, Any]:
    arrived = {"arrived_at": f"{DAY}T09:02:00-05:00"}
    return operation("POST", f"participations/{part}/check-in/", arrived, **({"if_match": '"1"'} | more))


def finish(part: str, **more: str) -> dict[str, Any]:
    return operation("POST", f"participations/{part}/finish/", {"left_at": f"{DAY}T09:45:00-05:00"}, **more)


def write(part: str, note: str = "", **more: str) -> dict[str, Any]:
    return operation("PUT", f"notes/{note or make.new_id()}/", {"participation": part, "plan": "Go on."}, **more)


def morning(part: str) -> list[dict[str, Any]]:
    """What she did without a connection: the child came, the child left, the note was written."""
    came = check_in(part)
    return [came, finish(part, after=came["key"]), write(part)]


def send(flow: Flow, operations: list[dict[str, Any]], *, api: Any = None, **headers: str) -> Any:
    with time_machine.travel(make.at(HOME_AGAIN), tick=False):
        return (api or flow.ana).post("/api/v1/batch/", {"operations": operations}, format="json", **headers)


def outcomes(answer: Any) -> list[tuple[str, int]]:
    assert answer.status_code == 200, answer.content
    return [(result["outcome"], result["status"]) for result in answer.json()["results"]]


def written() -> tuple[int, ...]:
    return tuple(model.objects.count() for model in (Document, ParticipationChange, OutboxMessage))


# --- Applied, and applied already -----------------------------------------------------------------------------


def test_a_morning_without_a_connection(flow, part):
    """Each is answered as its own door answers, in the order sent, and the times are those that she told."""
    queued = morning(part)
    answer = send(flow, queued)
    assert outcomes(answer) == [("applied", 200), ("applied", 200), ("applied", 201)]
    results = answer.json()["results"]
    assert [result["key"] for result in results] == [one["key"] for one in queued]
    assert [result["etag"] for result in results] == ['"2"', '"3"', '"1"']
    assert (results[1]["answer"]["status"], results[1]["answer"]["minutes"]) == ("fulfilled", 43)
    assert results[2]["answer"]["draft"]["plan"] == "Go on."
    assert flow.part(part).arrived_at == make.at(f"{DAY} 09:02")


def test_sent_again_nothing_is_done_twice(flow, part):
    """The answer was lost: the same batch again says of each that it was applied already."""
    queued = morning(part)
    first = send(flow, queued)
    before = written()
    again = send(flow, queued)
    assert outcomes(again) == [("already_applied", 200)] * 3
    assert [one["answer"] for one in again.json()["results"]] == [one["answer"] for one in first.json()["results"]]
    assert written() == before


def test_a_change_of_a_version_is_not_done_twice(flow, part):
    """A PUT under its version is kept with its key: sent again it is no conflict with itself."""
    note = flow.put(part, [], at=HOME_AGAIN)
    queued = [write(part, note, if_match='"1"')]
    assert outcomes(send(flow, queued)) == [("applied", 200)]
    assert outcomes(send(flow, queued)) == [("already_applied", 200)]
    assert Document.objects.get().version == 2


def test_one_key_alone_and_in_a_batch(flow, part):
    """What was sent alone, and whose answer was lost, is known in the batch by its key."""
    came = check_in(part)
    headers = {"HTTP_IF_MATCH": '"1"', "HTTP_IDEMPOTENCY_KEY": came["key"]}
    with time_machine.travel(make.at(HOME_AGAIN), tick=False):
        assert flow.ana.post(came["path"], came["body"], format="json", **headers).status_code == 200
    assert outcomes(send(flow, [came])) == [("already_applied", 200)]


def test_a_key_of_another_request_is_refused(flow, part):
    """The control: the same key with another body does nothing."""
    came = check_in(part)
    send(flow, [came])
    other = {**came, "body": {"arrived_at": f"{DAY}T09:03:00-05:00"}}
    answer = send(flow, [other])
    assert outcomes(answer) == [("refused", 422)]
    assert answer.json()["results"][0]["answer"]["code"] == "idempotency_key_reused"


# --- Conflicts and refusals -----------------------------------------------------------------------------------


def test_a_conflict_shows_what_is_there_and_the_rest_goes_on(flow, part):
    """Another device changed the note meanwhile: both versions; what was queued behind it is done."""
    note = flow.put(part, [], at=HOME_AGAIN)
    flow.put(part, [], at=HOME_AGAIN, note=note, objective="Six of ten.", HTTP_IF_MATCH='"1"')
    version = flow.part(part).version
    answer = send(flow, [write(part, note, if_match='"1"'), check_in(part, if_match=f'"{version}"')])
    assert outcomes(answer) == [("conflict", 412), ("applied", 200)]
    told = answer.json()["results"][0]["answer"]
    assert (told["current"]["draft"]["objective"], told["current_etag"]) == ("Six of ten.", '"2"')
    assert told["sent"]["plan"] == "Go on."


def test_what_the_present_state_forbids_is_a_conflict(flow, part):
    """The front desk called it off: 409 with the part as it is."""
    flow.step(part, "cancel", at=f"{DAY} 08:00", cause="client", reason="Called in ill.")
    answer = send(flow, [check_in(part, if_match='"2"')])
    assert outcomes(answer) == [("conflict", 409)]
    told = answer.json()["results"][0]["answer"]
    assert (told["code"], told["current"]["status"]) == ("illegal_step", "cancelled")


def test_a_second_note_for_the_same_part_names_the_first(flow, part):
    """Written on two tablets without a connection: the second learns where the first one stands."""
    note = flow.put(part, [], at=HOME_AGAIN)
    answer = send(flow, [write(part)])
    assert outcomes(answer) == [("conflict", 409)]
    assert answer.json()["results"][0]["answer"]["existing_id"] == note


def test_what_rests_on_a_refused_operation_is_not_tried(flow, part):
    """No finish where the check-in was not taken."""
    came = check_in(part, if_match='"9"')
    answer = send(flow, [came, finish(part, after=came["key"])])
    assert outcomes(answer) == [("conflict", 412), ("conflict", 409)]
    assert answer.json()["results"][1]["answer"]["code"] == "rests_on_refused"
    assert flow.part(part).status == "booked"


def test_each_operation_is_a_transaction_of_its_own(flow, part):
    """One that a rule refuses takes nothing of the others with it."""
    early = operation("POST", f"participations/{part}/check-in/", {"arrived_at": "2026-04-30T09:00:00-05:00"})
    answer = send(flow, [write(part), {**early, "if_match": "*"}, check_in(part, if_match="*")])
    assert outcomes(answer) == [("applied", 201), ("refused", 422), ("applied", 200)]


def test_reach_is_asked_for_each(flow, part):
    """Another's child is not there, another's visit is not hers, and the trail says so of each by itself."""
    mia, mia_api = flow.person("Mia Lund", Role.ASSISTANT)
    hers = flow.another_child("Teo", mia)
    foreign = flow.book(f"{DAY} 11:00", at="2026-03-30 09:00", api=mia_api, staff=[str(mia.pk)])
    assert foreign.status_code == 422, foreign.content
    theirs = flow.visit(DAY, start="11:00", api=mia_api, staff=mia, children=[{"episode": str(hers.pk)}])
    answer = send(flow, [check_in(theirs), check_in(part)])
    assert outcomes(answer) == [("refused", 404), ("applied", 200)]
    assert Participation.objects.get(pk=theirs).status == "booked"


def test_the_trail_tells_each_operation(flow, part):
    """One event an operation, with the child whose record it touched, and one of the batch, under one request's id."""
    known = set(AuditEvent.objects.values_list("pk", flat=True))
    send(flow, [check_in(part), check_in(make.new_id())], HTTP_X_REQUEST_ID="afternoon-7")
    events = AuditEvent.objects.exclude(pk__in=known).order_by("pk")
    assert [(event.route.removeprefix("api/v1/"), event.status, event.client_ids) for event in events] == [
        ("participations/<uuid:id>/check-in/", 200, [flow.child.pk]),
        ("participations/<uuid:id>/check-in/", 404, []),
        ("batch/", 200, []),
    ]
    assert {event.request_id for event in events} == {"afternoon-7"}
    assert {event.action for event in events} == {"visits:write", "batch:write"}


@pytest.mark.parametrize(
    ("scope", "expected"),
    [
        pytest.param("batch:write", [("refused", 403)], id="the batch alone"),
        pytest.param("batch:write visits:write visits:read", [("applied", 200)], id="the operation as well"),
    ],
)
def test_an_application_does_what_its_scope_names(flow, part, scope, expected):
    """The right to send a batch gives no other."""
    with time_machine.travel(make.at(HOME_AGAIN), tick=False):
        api = token_of(flow.assistant, scope)
    assert outcomes(send(flow, [check_in(part)], api=api)) == expected


def test_the_device_s_clock_counts_for_each(flow, part):
    """Two hours ahead when it sends: the queued times are put right."""
    answer = send(flow, [check_in(part)], HTTP_DEVICE_TIME=f"{DAY}T14:00:00-05:00")
    told = answer.json()["results"][0]["answer"]
    assert (told["arrived_at"], told["device_offset_seconds"]) == ("2026-03-31T12:02:00Z", 7200)


# --- What is never queued -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("path", "body"),
    [
        pytest.param("notes/{note}/sign/", {"pin": PIN}, id="sign"),
        pytest.param("notes/{note}/cosign/", {"pin": PIN, "digest": "0" * 64}, id="co-sign"),
        pytest.param("notes/{note}/return/", {"pin": PIN, "digest": "0" * 64, "reason": "Why"}, id="return"),
        pytest.param("cosign-queue/cosign/", {"pin": PIN, "items": []}, id="co-sign several"),
        pytest.param("me/pin/", {"pin": PIN, "password": "a long phrase"}, id="the PIN itself"),
        pytest.param("batch/", {"operations": []}, id="a batch in a batch"),
    ],
)
def test_a_signature_is_never_queued(flow, part, path, body):
    """Refused before anybody looks at the PIN: nothing is signed, no miss is counted."""
    note = flow.put(part, [], at=HOME_AGAIN)
    before = written()
    wrong = {**body, "pin": "000000"} if "pin" in body else body
    answer = send(flow, [operation("POST", path.format(note=note), wrong, if_match="*")])
    assert outcomes(answer) == [("refused", 403)]
    assert answer.json()["results"][0]["answer"]["code"] == "never_queued"
    assert written() == before
    assert set(SigningPin.objects.values_list("misses", flat=True)) == {0}


QUEUED = {
    "PUT addenda/<uuid:id>/",
    "PUT goals/<uuid:id>/",
    "PATCH goals/<uuid:id>/",
    "PUT notes/<uuid:id>/",
    "POST notices/<uuid:id>/read/",
    "POST participations/<uuid:id>/cancel/",
    "POST participations/<uuid:id>/check-in/",
    "POST participations/<uuid:id>/finish/",
    "POST participations/<uuid:id>/no-show/",
    "POST participations/<uuid:id>/plan/",
    "POST participations/<uuid:id>/reinstate/",
    "PUT precautions/<uuid:id>/",
    "POST review-items/<uuid:id>/acknowledge/",
    "PUT supervisory-contacts/<uuid:id>/",
    "PUT visits/<uuid:id>/",
    "POST visits/<uuid:id>/cancel/",
}


def test_what_is_queued_is_written_out_here():
    """A door that is to take queued operations is added here by hand; none of them asks for a secret."""
    doors = every_door()
    assert {f"{method} {route}" for route, door in doors.items() for method in door.queued} == QUEUED
    for name in QUEUED:
        method, route = name.split()
        door = doors[route]
        assert not door.key_required
        assert {"pin", "password", "new_pin"} & set(door.inputs[method]().fields) == set(), name


@pytest.mark.parametrize("path", ["/api/v1/nothing-here/", "/api/v1/docs/", "/api/v1/notes/1/"])
def test_a_path_without_a_door_is_not_found(flow, path):
    """What is no door of the record is not there."""
    answer = send(flow, [{**operation("POST", "", {}), "path": path}])
    assert outcomes(answer) == [("refused", 404)]


# --- Malformed, and broken off --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "change",
    [
        pytest.param({"method": "DELETE"}, id="method"),
        pytest.param({"method": "GET"}, id="a read"),
        pytest.param({"path": "/login/"}, id="outside the API"),
        pytest.param({"path": "/api/v1/notes/?author=1"}, id="with a query"),
        pytest.param({"path": "/api/v1/../../health/"}, id="climbing"),
        pytest.param({"key": "short"}, id="key"),
        pytest.param({"if_match": "1"}, id="tag without quotes"),
        pytest.param({"after": "a-key-that-is-not-there"}, id="after nothing"),
        pytest.param({"body": []}, id="body"),
        pytest.param({"headers": {}}, id="unknown member"),
    ],
)
def test_a_malformed_batch_is_refused_whole(flow, part, change):
    """400, and nothing of it is done."""
    answer = send(flow, [check_in(part), {**write(part), **change}])
    assert answer.status_code == 400
    assert flow.part(part).status == "booked"


def test_at_most_two_hundred(flow, part):
    """And each key once; none at all is no batch."""
    assert send(flow, [write(part) for _ in range(201)]).status_code == 400
    assert send(flow, [check_in(part), check_in(part, key="the-same-key")] * 2).status_code == 400
    assert send(flow, []).status_code == 400
    assert not Document.objects.exists()


def test_where_the_service_fails_the_rest_is_not_tried(flow, part, monkeypatch):
    """The database goes away at the second: the first stands, the others are sent again as they are, in their order."""
    queued = morning(part)

    def gone(**asked):
        raise OperationalError("the server closed the connection")

    with monkeypatch.context() as broken:
        broken.setattr(steps, "finish", gone)
        answer = send(flow, queued)
    assert outcomes(answer) == [("applied", 200), ("try_again", 503), ("try_again", 503)]
    assert not Document.objects.exists()
    assert outcomes(send(flow, queued)) == [("already_applied", 200), ("applied", 200), ("applied", 201)]


@pytest.mark.parametrize(
    ("method", "status", "replayed", "unconditional", "outcome"),
    [
        pytest.param("PUT", 201, False, True, "applied", id="made"),
        pytest.param("PUT", 200, False, True, "already_applied", id="found as it would have been made"),
        pytest.param("PUT", 200, False, False, "applied", id="changed"),
        pytest.param("POST", 200, False, True, "applied", id="done"),
        pytest.param("POST", 200, True, True, "already_applied", id="answered from its key"),
        pytest.param("PUT", 428, False, True, "conflict", id="there, otherwise"),
        pytest.param("PATCH", 412, False, False, "conflict", id="stale"),
        pytest.param("POST", 409, False, False, "conflict", id="the present state forbids it"),
        pytest.param("POST", 404, False, False, "refused", id="out of reach"),
        pytest.param("POST", 422, False, False, "refused", id="a rule forbids it"),
        pytest.param("POST", 429, False, False, "try_again", id="too many"),
        pytest.param("POST", 500, False, False, "try_again", id="failed"),
    ],
)
def test_outcome(method, status, replayed, unconditional, outcome):
    """Each status has one meaning for whoever queued it."""
    assert outcome_of(OperationMethod(method), status, replayed, unconditional) == OperationOutcome(outcome)
