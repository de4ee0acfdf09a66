"""The steps of an application that asks a person for her consent, as its own code would take them."""

import base64
import hashlib
from html.parser import HTMLParser
from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

from django.test import Client as Browser

from clinic.services.applications import Registered, register_application

REDIRECT = "https://app.example/return"
VERIFIER = "a-verifier-of-forty-three-characters-or-more-0123"


class Form(HTMLParser):
    """The fields of a page's form, as a browser would send them."""

    def __init__(self) -> None:
        super().__init__()
        self.fields: dict[str, str] = {}

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag == "input" and given.get("name"):
            self.fields[str(given["name"])] = given.get("value") or ""


def fields_of(page: Any) -> dict[str, str]:
    form = Form()
    form.feed(page.content.decode())
    return form.fields


def challenge_of(verifier: str) -> str:
    """RFC 7636, section 4.2: BASE64URL-ENCODE(SHA256(ASCII(code_verifier)))."""
    return base64.urlsafe_b64encode(hashlib.sha256(verifier.encode()).digest()).rstrip(b"=").decode()


def public_application() -> Registered:
    return register_application(name="Clipboard", redirect_uris=[REDIRECT], confidential=False)


def asking(registered: Registered, **over: str | None) -> str:
    """The address that the application sends the person's browser to; None leaves a parameter out."""
    asked = {
        "response_type": "code",
        "client_id": registered.client_id,
        "redirect_uri": REDIRECT,
        "scope": "clients:read self:read",
        "state": "xyz",
        "code_challenge": challenge_of(VERIFIER),
        "code_challenge_method": "S256",
        **over,
    }
    return "/oauth/authorize/?" + urlencode({name: value for name, value in asked.items() if value is not None})


def allowed(browser: Browser, url: str) -> dict[str, str]:
    """Press Allow on the consent page; what the redirect carries back."""
    page = browser.get(url)
    assert page.status_code == 200, page.headers.get("Location", page.content)
    answer = browser.post("/oauth/authorize/", {**fields_of(page), "allow": "Authorize"})
    return carried(answer)


def carried(answer: Any) -> dict[str, str]:
    assert answer.status_code == 302, answer.content
    assert answer["Location"].startswith(REDIRECT + "?"), answer["Location"]
    return {name: values[0] for name, values in parse_qs(urlsplit(answer["Location"]).query).items()}


def exchange(registered: Registered, code: str, **over: str) -> Any:
    """Ask the token endpoint for the tokens of a code."""
    form = {
        "grant_type": "authorization_code",
        "code": code,
        "redirect_uri": REDIRECT,
        "client_id": registered.client_id,
        "code_verifier": VERIFIER,
        **over,
    }
    if registered.secret:
        form["client_secret"] = registered.secret
    return Browser().post("/oauth/token/", form)


def refresh(registered: Registered, token: str) -> Any:
    form = {"grant_type": "refresh_token", "refresh_token": token, "client_id": registered.client_id}
    return Browser().post("/oauth/token/", form)


def system_token(registered: Registered, scope: str) -> Any:
    """Client credentials in the header, RFC 6749 section 2.3.1."""
    basic = base64.b64encode(f"{registered.client_id}:{registered.secret}".encode()).decode()
    form = {"grant_type": "client_credentials", "scope": scope}
    return Browser().post("/oauth/token/", form, headers={"Authorization": f"Basic {basic}"})


def get(path: str, token: str, **options: Any) -> Any:
    return Browser().get(path, headers={"Authorization": f"Bearer {token}"}, **options)
