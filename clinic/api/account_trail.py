"""The trail of the doors before the record: who signed in or out, who was given a token, and who was refused."""

import json
from collections.abc import Callable
from datetime import datetime
from typing import Any
from urllib.parse import parse_qs, urlsplit

from django.core.exceptions import SuspiciousOperation
from django.http import HttpRequest, HttpResponse, UnreadablePostError
from django.http.multipartparser import MultiPartParserError
from django.utils import timezone

from clinic import audit
from clinic.enums import AccountAction, Outcome
from clinic.selectors.actors import holder_of

# Which request is about what. A page that only offers a form is no act and leaves no event.
ACTS: dict[tuple[str, str], AccountAction] = {
    ("POST", "login/"): AccountAction.SIGN_IN,
    ("POST", "logout/"): AccountAction.SIGN_OUT,
    ("GET", "oauth/authorize/"): AccountAction.AUTHORIZE,
    ("POST", "oauth/authorize/"): AccountAction.AUTHORIZE,
    ("POST", "oauth/token/"): AccountAction.TOKEN,
    ("POST", "oauth/revoke_token/"): AccountAction.REVOKE,
    ("POST", "oauth/introspect/"): AccountAction.INTROSPECT,
}


class AccountTrail:
    """Leaves one event of each such request, whatever answered it, before the answer leaves."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        asked_at = timezone.now()
        response = self.get_response(request)
        match = request.resolver_match
        action = ACTS.get((request.method or "", match.route)) if match else None
        if action is not None:
            _tell_act(request, response, action, asked_at)
        return response

    def process_view(self, request: HttpRequest, *view: Any) -> None:
        """Keep who asked: after a sign-out the request knows nobody any more."""
        match = request.resolver_match
        if match and (request.method, match.route) in ACTS:
            request.asked_by = request.user.pk  # type: ignore[attr-defined]


def _tell_act(request: HttpRequest, response: HttpResponse, action: AccountAction, at: datetime) -> None:
    code = _refusal(action, request, response)
    who: dict[str, Any] = {"user_id": getattr(request, "asked_by", None)}
    if action is AccountAction.SIGN_IN:
        who = {"user_id": None if code else request.user.pk, "name": _posted(request, "username")}
    elif action is AccountAction.TOKEN and not code:
        who["user_id"], who["application"] = holder_of(json.loads(response.content)["access_token"])
    elif action is AccountAction.AUTHORIZE and not code:
        who["application"] = request.GET.get("client_id", "") or _posted(request, "client_id")
    tell(request, action, response.status_code, code=code, refused=bool(code), at=at, **who)


def _posted(request: HttpRequest, member: str) -> str:
    """What the form said, or nothing where it was refused unread."""
    try:
        return request.POST.get(member, "")
    except (SuspiciousOperation, MultiPartParserError, UnreadablePostError):
        return ""


def _refusal(action: AccountAction, request: HttpRequest, response: HttpResponse) -> str:
    """Why it was refused; nothing when it was done. A login page that is shown again has refused."""
    if action is AccountAction.SIGN_IN and response.status_code == 200:
        return "not_let_in"
    if response.status_code >= 400:
        return str(_body(response).get("code") or _body(response).get("error") or "refused")
    sent_to = parse_qs(urlsplit(response.get("Location", "")).query)
    return sent_to.get("error", [""])[0] if action is AccountAction.AUTHORIZE else ""


def _body(response: HttpResponse) -> dict[str, Any]:
    try:
        found = json.loads(response.content)
    except ValueError:
        return {}
    return found if isinstance(found, dict) else {}


def tell(
    request: HttpRequest,
    action: AccountAction,
    status: int,
    *,
    code: str = "",
    refused: bool = False,
    at: datetime | None = None,
    **who: Any,
) -> None:
    """Write the event of a request without a place at work behind it."""
    match = request.resolver_match
    if "user_id" not in who:
        user = getattr(request, "user", None)
        who["user_id"] = user.pk if user is not None else None
    audit.write_account(
        audit.AccountEvent(
            at=at or timezone.now(),
            action=action,
            method=request.method or "",
            route=match.route if match else "",
            request_id=request.request_id,  # type: ignore[attr-defined]
            address=request.META.get("REMOTE_ADDR") or None,
            outcome=Outcome.REFUSED if refused else audit.outcome_of(status),
            status=status,
            code=code,
            **who,
        )
    )
