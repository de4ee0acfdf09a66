"""May this role do this at all? The table in clinic.rules.access says; a method without an action is refused."""

from typing import Any

from oauth2_provider.contrib.rest_framework import TokenHasScope
from rest_framework.exceptions import MethodNotAllowed, NotAuthenticated, PermissionDenied
from rest_framework.request import Request

from clinic.rules.access import Action, may


class InsufficientScope(PermissionDenied):
    """RFC 6750, section 3.1: a valid token that does not reach this, with the scope that would."""

    def __init__(self, needed: list[str]) -> None:
        super().__init__("The token's scope does not reach this", code="insufficient_scope")
        self.auth_header = f'Bearer realm="api",error="insufficient_scope",scope="{" ".join(needed)}"'


class Allowed(TokenHasScope):
    """Asks the access table for the action that the view names for this method."""

    def has_permission(self, request: Request, view: Any) -> bool:
        if not request.user or not request.user.is_authenticated:
            raise NotAuthenticated
        action = getattr(view, "actions", {}).get(method_of(request))
        if action is None:
            raise _no_action(request, view)
        actor = getattr(view, "actor", None)
        if actor is None:
            raise PermissionDenied("You have no place at work in force here", code="no_place_at_work")
        needed = [str(each) for each in (action, *view.shows_besides)]
        if actor.scopes is not None and not actor.scopes.issuperset(needed):
            raise InsufficientScope(needed)
        if not may(actor, action):
            raise PermissionDenied("None of your roles may do this", code="role_may_not")
        return True

    def get_scopes(self, request: Request | None, view: Any) -> list[str]:
        method = getattr(view, "method", None) or getattr(request, "method", "GET")
        action: Action | None = getattr(view, "actions", {}).get(method)
        return [str(each) for each in (action, *getattr(view, "shows_besides", ()))] if action else []


def method_of(request: Request) -> str:
    """The method whose action counts: HEAD reads what GET reads."""
    method = request.method or ""
    return "GET" if method == "HEAD" else method


def _no_action(request: Request, view: Any) -> Exception:
    if request.method not in view.allowed_methods:
        return MethodNotAllowed(request.method or "")
    return PermissionDenied("No action is named for this method", code="no_action")
