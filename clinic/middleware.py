"""The frame round every request: an id to find it by, a limit on its body, headers that keep it private."""

import re
import time
from collections.abc import Callable
from ipaddress import ip_address

import structlog
from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils.cache import patch_vary_headers
from uuid_utils.compat import uuid7

GIVEN_ID = re.compile(r"[A-Za-z0-9._-]{8,64}")
log = structlog.get_logger("request")


class RequestFrame:
    """Gives each request an id, answers it back, and logs one line without content."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        given = request.headers.get("X-Request-ID", "")
        request.request_id = given if GIVEN_ID.fullmatch(given) else uuid7().hex  # type: ignore[attr-defined]
        request.META["REMOTE_ADDR"] = client_address(
            request.META.get("REMOTE_ADDR", ""), request.headers.get("X-Forwarded-For", ""), settings.TRUSTED_PROXIES
        )
        started = time.perf_counter()
        with structlog.contextvars.bound_contextvars(request_id=request.request_id):  # type: ignore[attr-defined]
            response = self.get_response(request)
            self._log(request, response, started)
        response["X-Request-ID"] = request.request_id  # type: ignore[attr-defined]
        if request.path.startswith(("/api/", "/oauth/", "/login/")):
            response.headers.setdefault("Cache-Control", "no-store")
            patch_vary_headers(response, ("Authorization", "Cookie", "Accept"))
        return response

    def _log(self, request: HttpRequest, response: HttpResponse, started: float) -> None:
        match = request.resolver_match
        log.info(
            "answered",
            method=request.method,
            route=match.route if match else "",
            status=response.status_code,
            ms=round((time.perf_counter() - started) * 1000, 1),
        )


def client_address(peer: str, forwarded: str, proxies: int) -> str:
    """The address that the outermost trusted proxy saw. What a sender wrote into the header stands further left."""
    hops = forwarded.split(",")
    if not proxies or len(hops) < proxies:
        return peer
    try:
        return str(ip_address(hops[-proxies].strip()))
    except ValueError:
        return peer
