"""Every failure, ours, the framework's or the server's, as one problem document (RFC 9457)."""

import sys
from collections.abc import Iterator
from typing import Any

import structlog
from django.core.exceptions import PermissionDenied, RequestDataTooBig, SuspiciousOperation
from django.db import OperationalError
from django.http import Http404, HttpRequest, HttpResponse
from rest_framework import exceptions
from rest_framework.response import Response
from rest_framework.settings import api_settings

from clinic.api.renderers import dumps
from clinic.errors import DomainError, NotAllowed
from clinic.rules.access import ActsForNobody

MEDIA_TYPE = "application/problem+json"
TITLES = {
    400: ("bad_request", "The request is malformed"),
    401: ("not_authenticated", "Authentication is needed"),
    403: ("permission_denied", "Not allowed"),
    404: ("not_found", "Not found"),
    405: ("method_not_allowed", "The method is not offered here"),
    406: ("not_acceptable", "Only JSON is answered"),
    411: ("length_required", "Send the length of the body"),
    413: ("body_too_large", "The body is too large"),
    415: ("unsupported_media_type", "Send application/json"),
    429: ("throttled", "Too many requests"),
    500: ("server_error", "The server failed"),
    503: ("unavailable", "Try again shortly"),
}
INVALID = ("invalid_request", "The request has errors")
log = structlog.get_logger("problems")


def document(status: int, code: str, title: str, request: Any, *, kind: str = "", **members: Any) -> dict[str, Any]:
    """The members of one problem, absent ones left out. Its type is the kind that the code is a case of."""
    found = {key: value for key, value in members.items() if value is not None and (value or key != "errors")}
    return {
        "type": f"/problems/{(kind or code).replace('_', '-')}/",
        "title": title,
        "status": status,
        "code": code,
        "request_id": getattr(request, "request_id", ""),
        **found,
    }


def plain(status: int, request: HttpRequest, *, code: str | None = None, detail: str | None = None) -> HttpResponse:
    """A problem where no API view answers: unknown paths, broken hosts, failures of the server."""
    default, title = TITLES[status]
    body = document(status, code or default, title, request, kind=default, detail=detail)
    return HttpResponse(dumps(body), status=status, content_type=MEDIA_TYPE)


def pointer(path: tuple[Any, ...]) -> str:
    return "".join("/" + str(part).replace("~", "~0").replace("/", "~1") for part in path)


def flattened(detail: Any, path: tuple[Any, ...] = ()) -> Iterator[dict[str, str]]:
    """Each leaf of a validation error with the JSON pointer (RFC 6901) of the member that it is about."""
    if isinstance(detail, dict):
        for name, value in detail.items():
            yield from flattened(value, path if name == api_settings.NON_FIELD_ERRORS_KEY else (*path, name))
    elif isinstance(detail, list):
        for index, value in enumerate(detail):
            nested = isinstance(value, dict | list)
            yield from flattened(value, (*path, index) if nested else path)
    else:
        yield {"pointer": pointer(path), "code": getattr(detail, "code", "invalid"), "detail": str(detail)}


def handler(exc: Exception, context: dict[str, Any]) -> Response | None:
    """DRF's exception handler; what it does not know is a 500 that somebody sees."""
    request = context["request"]._request
    answer = _answer(exc, request)
    if answer is None:
        log.error("failed", code=type(exc).__name__, exc_info=exc)
        default, title = TITLES[500]
        answer = Response(document(500, default, title, request), status=500)
    answer.content_type = MEDIA_TYPE
    return answer


def _answer(exc: Exception, request: HttpRequest) -> Response | None:
    if isinstance(exc, ActsForNobody):
        exc = NotAllowed("A system acts for nobody: this needs a person", code="acts_for_nobody")
    if isinstance(exc, DomainError):
        return _domain(exc, request)
    if isinstance(exc, exceptions.ValidationError):
        errors = list(flattened(exc.detail))
        code, title = INVALID
        body = document(400, code, title, request, errors=errors)
        return Response(body, status=400)
    if isinstance(exc, Http404):
        exc = exceptions.NotFound()
    if isinstance(exc, PermissionDenied):
        exc = exceptions.PermissionDenied()
    if isinstance(exc, RequestDataTooBig):
        default, title = TITLES[413]
        return Response(document(413, default, title, request), status=413)
    if isinstance(exc, SuspiciousOperation):
        default, title = TITLES[400]
        return Response(document(400, default, title, request), status=400)
    if isinstance(exc, OperationalError):
        log.warning("unavailable", code=type(exc.__cause__).__name__)
        default, title = TITLES[503]
        return Response(document(503, default, title, request), status=503, headers={"Retry-After": "2"})
    if isinstance(exc, exceptions.APIException):
        return _framework(exc, request)
    return None


def _domain(exc: DomainError, request: HttpRequest) -> Response:
    errors = getattr(exc, "errors", None)
    kind = type(exc).code
    body = document(exc.status, exc.code, exc.title, request, kind=kind, detail=exc.detail, errors=errors, **exc.facts)
    headers = {"Retry-After": str(exc.facts["retry_after"])} if "retry_after" in exc.facts else {}
    return Response(body, status=exc.status, headers=headers)


def _framework(exc: exceptions.APIException, request: HttpRequest) -> Response:
    default, title = TITLES.get(exc.status_code, (exc.default_code, "The request failed"))
    code = exc.get_codes() if isinstance(exc.get_codes(), str) else default
    own_code = isinstance(exc, exceptions.ParseError | exceptions.PermissionDenied | exceptions.AuthenticationFailed)
    headers = {}
    if challenge := getattr(exc, "auth_header", None):
        headers["WWW-Authenticate"] = challenge
    if wait := getattr(exc, "wait", None):
        headers["Retry-After"] = str(int(wait) + 1)
    code = str(code) if own_code else default
    body = document(exc.status_code, code, title, request, kind=default, detail=str(exc.detail))
    return Response(body, status=exc.status_code, headers=headers)


class LengthRequired(exceptions.APIException):
    """A body came without its length (RFC 9110, section 15.5.12)."""

    status_code = 411
    default_code = "length_required"
    default_detail = "Send the body with a Content-Length"


class ProblemForMethod:
    """For views outside the API: a method that is not offered answers like everything else."""

    def http_method_not_allowed(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        answer = plain(405, request)
        answer["Allow"] = ", ".join(self._allowed_methods())  # type: ignore[attr-defined]
        return answer


def bad_request(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    return plain(413 if isinstance(exception, RequestDataTooBig) else 400, request)


def permission_denied(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    return plain(403, request)


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    return plain(404, request)


def server_error(request: HttpRequest) -> HttpResponse:
    """A failure that no door answered for; a database that went away meanwhile is no fault of the request."""
    if isinstance(sys.exc_info()[1], OperationalError):
        answer = plain(503, request)
        answer["Retry-After"] = "2"
        return answer
    return plain(500, request)


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    return plain(403, request, code="csrf_failed", detail="Send the X-CSRFToken header with the session's token")
