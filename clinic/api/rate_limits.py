"""Who is counted as whom, and how an answer tells it (draft-ietf-httpapi-ratelimit-headers; RFC 6585, section 4)."""

from collections.abc import Callable
from datetime import datetime

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from rest_framework.exceptions import Throttled
from rest_framework.response import Response

from clinic import limits
from clinic.api import problems
from clinic.limits import SECONDS, Standing
from clinic.rules.access import Actor

# What costs a hash of a password or opens a way in is counted by address, before any of it is done.
COUNTED_BY_ADDRESS = {
    "login/": "sign_in",
    "oauth/token/": "token",
    "oauth/revoke_token/": "token",
    "oauth/introspect/": "token",
}


def charge(request: HttpRequest, actor: Actor | None, *, now: datetime) -> Standing:
    """Count a request to the API: by application and person, or by address where nobody could be made out."""
    if actor is None:
        return limits.charge("unknown", request.META.get("REMOTE_ADDR", ""), now=now)
    return limits.charge("person", f"{actor.application}/{actor.staff_id}/{actor.organization_id}", now=now)


def refuse_exceeded(standing: Standing) -> None:
    if standing.exceeded:
        raise Throttled(wait=standing.seconds)


def announce(response: Response | HttpResponse, standing: Standing | None) -> None:
    if standing is None:
        return
    response["RateLimit-Policy"] = f'"{standing.limit}";q={standing.quota};w={SECONDS}'
    response["RateLimit"] = f'"{standing.limit}";r={standing.left};t={standing.seconds}'


class SignInLimit:
    """Counts what is posted to the doors before the record."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        announce(response, getattr(request, "standing", None))
        return response

    def process_view(self, request: HttpRequest, *view: object) -> HttpResponse | None:
        match = request.resolver_match
        limit = COUNTED_BY_ADDRESS.get(match.route) if match and request.method == "POST" else None
        if limit is None:
            return None
        standing = limits.charge(limit, request.META.get("REMOTE_ADDR", ""), now=timezone.now())
        request.standing = standing  # type: ignore[attr-defined]
        if not standing.exceeded:
            return None
        answer = problems.plain(429, request, detail=f"Try again in {standing.seconds} seconds")
        answer["Retry-After"] = str(standing.seconds)
        return answer
