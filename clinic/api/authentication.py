"""How a request says who it comes from: an OAuth2 access token, or the browser's session."""

from typing import Any
from uuid import UUID

from django.contrib.auth.models import AnonymousUser
from django.utils import timezone
from oauth2_provider.contrib.rest_framework import OAuth2Authentication
from rest_framework.authentication import SessionAuthentication
from rest_framework.exceptions import AuthenticationFailed, ParseError
from rest_framework.request import Request

from clinic.rules.access import Actor
from clinic.selectors import actors


class SystemUser(AnonymousUser):
    """Stands where a person would: a system has none."""

    is_authenticated = True  # type: ignore[assignment]


class BearerToken(OAuth2Authentication):
    """RFC 6750, in the Authorization header only."""

    def authenticate(self, request: Request) -> tuple[Any, Any] | None:
        if not request.headers.get("Authorization", "").lower().startswith("bearer "):
            return None
        answer = super().authenticate(request)
        if answer is None:
            raise AuthenticationFailed("The access token is not valid", code="invalid_token")
        user, token = answer
        return user or SystemUser(), token


class BrowserSession(SessionAuthentication):
    """The session of the login page; unsafe methods carry the CSRF token."""


def actor_of(request: Request) -> Actor | None:
    """The actor behind an authenticated request; None when she has no place at work in force."""
    now = timezone.now()
    token = request.auth
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
