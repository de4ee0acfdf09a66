"""What a tablet did while it had no connection, sent at once: each operation goes through its own door."""

import json
from io import BytesIO
from typing import Any

from django.core.handlers.wsgi import WSGIRequest
from django.urls import Resolver404, ResolverMatch, resolve
from rest_framework import serializers
from rest_framework.authentication import BaseAuthentication
from rest_framework.request import Request
from rest_framework.response import Response

from clinic.api.examples import example
from clinic.api.fields import Pattern, StrictInput
from clinic.api.problems import document
from clinic.api.views import ApiView
from clinic.rules.access import Action
from scheduling.enums import OperationMethod, OperationOutcome
from scheduling.rules.batches import MOST_OPERATIONS, outcome_of

PATH = r"^/api/v1/[a-z0-9/-]{1,150}/\Z"
KEY = r"^[\x21-\x7e]{8,100}\Z"
TAG = r'^(\*|"[\x21\x23-\x7e]{1,60}")\Z'
PARTICIPATION = "0198a1f0-0000-7000-8000-0000000000b1"
NOTE = "0198a1f0-0000-7000-8000-0000000000d1"
OPERATION = {
    "key": "0198a1f0-0000-7000-8000-00000000f001",
    "method": "POST",
    "path": f"/api/v1/participations/{PARTICIPATION}/check-in/",
    "if_match": '"1"',
    "body": {"arrived_at": "2026-03-31T15:02:00-05:00"},
}
FINISH = {
    "key": "0198a1f0-0000-7000-8000-00000000f002",
    "method": "POST",
    "path": f"/api/v1/participations/{PARTICIPATION}/finish/",
    "after": OPERATION["key"],
    "body": {"left_at": "2026-03-31T15:47:00-05:00"},
}
WRITE = {
    "key": "0198a1f0-0000-7000-8000-00000000f003",
    "method": "PUT",
    "path": f"/api/v1/notes/{NOTE}/",
    "body": {"participation": PARTICIPATION, "objective": "Buttoned a vest at the table, seated."},
}


class OperationIn(StrictInput):
    """One request that was queued, as it would have been sent."""

    key = Pattern(KEY, max_length=100, help_text="Its Idempotency-Key: sent again, it is not done again")
    method = serializers.ChoiceField(choices=[method.value for method in OperationMethod])
    path = Pattern(PATH, max_length=160)
    if_match = Pattern(TAG, max_length=62, required=False, help_text="The ETag of the version being changed")
    after = Pattern(
        KEY,
        max_length=100,
        required=False,
        help_text="The key of an earlier operation of this batch, on whose answer's ETag this one rests",
    )
    body = serializers.DictField()

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if "if_match" in attrs and "after" in attrs:
            raise serializers.ValidationError({"after": [_fault("Give either `if_match` or `after`", "one_of_two")]})
        return attrs


@example({"operations": [OPERATION, FINISH, WRITE]})
class BatchIn(StrictInput):
    """Up to 200 operations, in the order in which they were queued."""

    operations = OperationIn(many=True, allow_empty=False, max_length=MOST_OPERATIONS)  # type: ignore[call-arg]

    def validate_operations(self, operations: list[dict[str, Any]]) -> list[dict[str, Any]]:
        known: set[str] = set()
        for operation in operations:
            if operation["key"] in known:
                raise serializers.ValidationError([_fault("Each key stands once", "doubled")])
            if operation.get("after", operation["key"]) not in {*known, operation["key"]}:
                raise serializers.ValidationError([_fault("`after` names an earlier key", "unknown_key")])
            known.add(operation["key"])
        return operations


def _fault(detail: str, code: str) -> serializers.ErrorDetail:
    return serializers.ErrorDetail(detail, code=code)


class OperationAnswer(serializers.Serializer):
    """What became of one operation: its own door's answer, or the problem for which nothing of it was done."""

    key = serializers.CharField()
    outcome = serializers.ChoiceField(choices=[outcome.value for outcome in OperationOutcome])
    status = serializers.IntegerField(help_text="The status that its own door answered")
    etag = serializers.CharField(allow_null=True)
    answer = serializers.DictField(help_text="The row, or the problem document; of a conflict with `current`")


@example(
    {
        "results": [
            {
                "key": OPERATION["key"],
                "outcome": "conflict",
                "status": 412,
                "etag": None,
                "answer": {
                    "type": "/problems/precondition-failed/",
                    "title": "The record has changed since you fetched it",
                    "status": 412,
                    "code": "precondition_failed",
                    "current_etag": '"2"',
                    "current": {"id": PARTICIPATION, "version": 2, "status": "checked-in"},
                },
            }
        ]
    }
)
class BatchRecord(serializers.Serializer):
    """Each operation's own answer, in the order in which they were sent."""

    results = OperationAnswer(many=True)


class SameSender(BaseAuthentication):
    """An operation comes from whoever sent the batch, who has been asked who she is."""

    def authenticate(self, request: Request) -> tuple[Any, Any]:
        return request._request.sender  # type: ignore[attr-defined]


class Batch(ApiView):
    """Send what was queued without a connection, up to 200 operations

    Each is done or refused by itself, in the order sent, through its own door: a transaction with a key of its own,
    asked about reach and told in the trail as if it had come alone. The answer says of each whether it was applied
    now, had been applied already, or meets a conflict, then with what is there now. Where the service fails, the rest
    is not tried: send it again as it is.

    Signing, co-signing, returning and whatever else needs a PIN is never queued. `after` lets an operation rest on the
    ETag that an earlier one of the batch is answered with, such as a finish on its check-in; a note that is begun
    moves its part of the visit on, so send the steps before it."""

    resource = "batch"
    act = "send_batch"
    actions = {"POST": Action.SEND_BATCH}
    inputs = {"POST": BatchIn}
    outputs = {"POST": BatchRecord}
    takes_key = False
    observes = ("POST",)

    def post(self, request: Request) -> Response:
        operations = self.read(BatchIn)["operations"]
        self.tags: dict[str, str | None] = {}
        results: list[dict[str, Any]] = []
        for operation in operations:
            failed = bool(results) and results[-1]["outcome"] == OperationOutcome.TRY_AGAIN
            results.append(self._not_tried(operation) if failed else self._answered(operation))
        return self.show({"results": results})

    def _answered(self, operation: dict[str, Any]) -> dict[str, Any]:
        response = self._refused_here(operation) or self._at_its_door(operation)
        replayed = response.has_header("Idempotency-Replayed")
        tag = response["ETag"] if response.has_header("ETag") else None
        self.tags[operation["key"]] = tag
        unconditional = self._condition(operation) is None
        return {
            "key": operation["key"],
            "outcome": outcome_of(operation["method"], response.status_code, replayed, unconditional),
            "status": response.status_code,
            "etag": tag,
            "answer": json.loads(response.data) if isinstance(response.data, bytes) else response.data,
        }

    def _not_tried(self, operation: dict[str, Any]) -> dict[str, Any]:
        answer = self._problem(503, code="not_tried", detail="An operation before it failed: send this one again").data
        named = {"key": operation["key"], "outcome": OperationOutcome.TRY_AGAIN}
        return {**named, "status": 503, "etag": None, "answer": answer}

    def _condition(self, operation: dict[str, Any]) -> str | None:
        """The ETag that it rests on: its own, or that of the operation which it comes after."""
        return self.tags.get(operation["after"]) if "after" in operation else operation.get("if_match")

    def _refused_here(self, operation: dict[str, Any]) -> Response | None:
        door = _door(operation["path"])
        if door is None:
            return self._problem(404, code="not_found", detail="There is no such path")
        if operation["method"] not in door.queued:
            return self._problem(
                403, code="never_queued", detail="This is not queued: send it by itself, with a connection"
            )
        if "after" in operation and self.tags.get(operation["after"]) is None:
            return self._problem(
                409, code="rests_on_refused", detail="The operation that it comes after was not applied"
            )
        return None

    def _problem(self, status: int, *, code: str, detail: str) -> Response:
        told = document(status, code, detail, self.request._request, detail=detail)
        return Response(told, status=status)

    def _at_its_door(self, operation: dict[str, Any]) -> Response:
        match = resolve(operation["path"])
        door: Any = _door(operation["path"])
        view = door.as_view(authentication_classes=[SameSender])
        return view(self._as_if_alone(operation, match), **match.kwargs)

    def _as_if_alone(self, operation: dict[str, Any], match: ResolverMatch) -> WSGIRequest:
        """The request that the tablet would have sent, had it had a connection."""
        outer: Any = self.request._request
        body = json.dumps(operation["body"]).encode()
        conditions = ("HTTP_IF_MATCH", "HTTP_IF_NONE_MATCH", "HTTP_IDEMPOTENCY_KEY")
        environ = {name: value for name, value in outer.META.items() if name not in conditions}
        environ |= {
            "REQUEST_METHOD": operation["method"],
            "PATH_INFO": operation["path"],
            "QUERY_STRING": "",
            "CONTENT_TYPE": "application/json",
            "CONTENT_LENGTH": str(len(body)),
            "HTTP_IDEMPOTENCY_KEY": operation["key"],
            "wsgi.input": BytesIO(body),
        }
        condition = self._condition(operation)
        if condition is not None:
            environ["HTTP_IF_MATCH"] = condition
        inner: Any = WSGIRequest(environ)
        inner.sender = (self.request.user, self.request.auth)
        inner.session, inner.request_id, inner.resolver_match = outer.session, outer.request_id, match
        return inner


def _door(path: str) -> type[ApiView] | None:
    """The door of the record at this path, if there is one."""
    try:
        view = getattr(resolve(path).func, "view_class", None)
    except Resolver404:
        return None
    return view if isinstance(view, type) and issubclass(view, ApiView) else None
