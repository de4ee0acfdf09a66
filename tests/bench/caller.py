"""Calls the service's WSGI application in this process as a server would: signals, middleware, views, renderer."""

from datetime import timedelta
from io import BytesIO

from django.core.handlers.wsgi import WSGIHandler
from django.test import Client as Browser
from django.test import RequestFactory
from django.utils import timezone
from oauth2_provider.models import AccessToken, Application

from clinic.models import Staff
from clinic.rules.access import Action
from clinic.services.applications import register_application

TOKEN = "a-token-of-a-bench-{}"


class Refused(Exception):
    """The service answered with something else than what the bench measures."""


class Caller:
    """One person at the API, with an access token or in a browser session."""

    application = WSGIHandler()

    def __init__(self, **headers: str) -> None:
        self.environ = RequestFactory(SERVER_NAME="localhost", headers=headers).get("/").environ

    def get(self, path: str) -> bytes:
        return self._call("GET", path, b"", {})

    def put(self, path: str, body: bytes) -> bytes:
        return self._call("PUT", path, body, {})

    def post(self, path: str, body: bytes, **headers: str) -> bytes:
        return self._call("POST", path, body, headers)

    def _call(self, method: str, path: str, body: bytes, headers: dict[str, str]) -> bytes:
        route, _, query = path.partition("?")
        environ = {
            **self.environ,
            **headers,
            "REQUEST_METHOD": method,
            "PATH_INFO": route,
            "QUERY_STRING": query,
            "CONTENT_TYPE": "application/json",
            "CONTENT_LENGTH": str(len(body)),
            "wsgi.input": BytesIO(body),
        }
        status: list[str] = []
        answer = self.application(environ, lambda line, _: status.append(line))
        content = b"".join(answer)
        answer.close()
        if not status[0].startswith("2"):
            raise Refused(f"{method} {path}: {status[0]} {content[:500]!r}")
        return content


def token_of(staff: Staff) -> str:
    """An access token of hers with every scope, good for the day."""
    registered = register_application(name="Bench", redirect_uris=["https://app.example/return"], confidential=False)
    token = TOKEN.format(staff.pk)
    AccessToken.objects.create(
        user=staff.user,
        token=token,
        application=Application.objects.get(client_id=registered.client_id),
        expires=timezone.now() + timedelta(days=1),
        scope=" ".join(action.value for action in Action),
    )
    return token


def with_token(token: str) -> Caller:
    return Caller(Authorization=f"Bearer {token}")


def with_session(staff: Staff) -> tuple[Caller, str]:
    """A caller in her browser session, and the session's key."""
    browser = Browser()
    browser.force_login(staff.user, backend="django.contrib.auth.backends.ModelBackend")
    key = browser.cookies["sessionid"].value
    return Caller(Cookie=f"sessionid={key}"), key
