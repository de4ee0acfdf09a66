"""How a request says who it comes from: an OAuth2 access token, or the browser's session."""

from typing import Any
from uuid import UUID

from django.contrib.auth.models import AnonymousUser
from django.utils import timezone
from oauth2_provider.contrib.rest_framework.authentication import OAuth2ProtectedResourceAuthentication
from oauth2_provider.oauth2_backends import get_oauthlib_core
from rest_framework.authentication import SessionAuthentication
from rest_framework.exceptions import AuthenticationFailed, ParseError, PermissionDenied
from rest_framework.request import Request

from clinic.rules.access import Actor
from clinic.selectors import actors


class SystemUser(AnonymousUser):
    """Stands where a person would: a system has none."""

    is_authenticated = True  # type: ignore[assignment]


class BearerToken(OAuth2ProtectedResourceAuthentication):
    """RFC 6750, in the Authorization header only: neither the query nor the body is looked at."""

    def authenticate(self, request: Request) -> tuple[Any, Any] | None:
        given = request.headers.get("Authorization", "")
        if not given.lower().startswith("bearer "):
            return None
        uri = request._request.build_absolute_uri(request.path)
        valid, found = get_oauthlib_core().server.verify_request(uri, request.method, "", {"Authorization": given}, [])
        if not valid or (found.user and not found.user.is_active):
            fault = getattr(found, "oauth2_error", None) or {"error": "invalid_token"}
            request.oauth2_error = fault  # type: ignore[attr-defined]
            raise AuthenticationFailed("The access token is not valid", code="invalid_token")
        return found.user or SystemUser(), found.access_token


class BrowserSession(SessionAuthentication):
    """The session of the login page; unsafe methods carry the CSRF token."""

    def enforce_csrf(self, request: Request) -> None:
        try:
            super().enforce_csrf(request)
        except PermissionDenied:
            raise PermissionDenied("Send the X-CSRFToken header with the session's token", code="csrf_failed") from None


def actor_of(request: Request) -> Actor | None:
    """The actor behind an authenticated request; None when she has no place at work in force."""
    now = timezone.now()
    token: Any = request.auth
    organization = _organization(request)
    if isinstance(request.user, SystemUser):
        return actors.system(client_id=token.application.client_id, now=now, scopes=_scopes(token))
    if not request.user.is_authenticated:
        return None
    return actors.person(
        user_id=request.user.pk,
        now=now,
        application=token.application.client_id if token else "session",
        scopes=_scopes(token) if token else None,
        organization_id=organization,
    )


def _scopes(token: Any) -> frozenset[str]:
    return frozenset(token.scope.split())


def _organization(request: Request) -> UUID | None:
    """Somebody who works in several organizations names one by this header."""
    named = request.headers.get("X-Organization")
    if named is None:
        return None
    try:
        return UUID(named)
    except ValueError:
        raise ParseError("X-Organization is not a UUID", code="invalid_header") from None
