"""A person at her tablet: a signed-in session that speaks to the service over HTTP, as any client would."""

import http.cookiejar
import json
import urllib.error
import urllib.parse
import urllib.request
from typing import Any

from uuid_utils.compat import uuid7


class Refused(Exception):
    """The service answered with a problem."""

    def __init__(self, status: int, problem: dict[str, Any]) -> None:
        super().__init__(f"{status} {problem.get('code')}: {problem.get('detail') or problem.get('errors')}")
        self.status = status
        self.code = problem.get("code", "")


class Browser:
    """Signs in once; keeps the session, the CSRF token and the ETags of what it has seen."""

    def __init__(self, address: str, username: str, password: str) -> None:
        self.address = address
        self.cookies = http.cookiejar.CookieJar()
        self.opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(self.cookies))
        self.etags: dict[str, str] = {}
        self._sign_in(username, password)

    def _sign_in(self, username: str, password: str) -> None:
        self.opener.open(f"{self.address}/login/", timeout=30).read()
        form = {"username": username, "password": password, "csrfmiddlewaretoken": self._csrf(), "next": "/livez/"}
        body = urllib.parse.urlencode(form).encode()
        answer = self.opener.open(f"{self.address}/login/", data=body, timeout=30)
        if not answer.url.endswith("/livez/"):
            raise Refused(401, {"code": "sign_in_failed"})

    def _csrf(self) -> str:
        return next((cookie.value or "" for cookie in self.cookies if cookie.name == "csrftoken"), "")

    def get(self, path: str) -> Any:
        return self._send("GET", path, None, {})

    def put(self, path: str, body: dict[str, Any]) -> Any:
        headers = {"If-Match": self.etags[path]} if path in self.etags else {}
        return self._send("PUT", path, body, headers)

    def act(self, path: str, body: dict[str, Any], *, on: str | None = None) -> Any:
        """POST an act, under a key of its own, on the version of `on` that was last seen."""
        headers = {"Idempotency-Key": str(uuid7())}
        if on is not None:
            self.get(on)
            headers["If-Match"] = self.etags[on]
        return self._send("POST", path, body, headers)

    def _send(self, method: str, path: str, body: Any, headers: dict[str, str]) -> Any:
        request = urllib.request.Request(  # noqa: S310
            f"{self.address}/api/v1{path}",
            method=method,
            data=None if body is None else json.dumps(body).encode(),
            headers={
                "Content-Type": "application/json",
                "X-CSRFToken": self._csrf(),
                "Referer": self.address,
                **headers,
            },
        )
        try:
            with self.opener.open(request, timeout=30) as answer:
                text = answer.read()
                if answer.headers.get("ETag") and method in ("GET", "PUT"):
                    self.etags[path] = answer.headers["ETag"]
                return json.loads(text) if text else None
        except urllib.error.HTTPError as exc:
            raise Refused(exc.code, _problem(exc.read())) from exc


def _problem(text: bytes) -> dict[str, Any]:
    try:
        return json.loads(text)
    except ValueError:
        return {"code": "not_json"}
