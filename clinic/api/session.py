"""Signing in with a browser. Misses are counted by account, by address and by both, and lock."""

from typing import Any

from django.contrib.auth.views import LoginView, LogoutView
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from clinic.api import problems
from clinic.rules.sign_in import is_locked
from clinic.selectors import sign_in


class LogIn(problems.ProblemForMethod, LoginView):
    """The login page."""

    template_name = "clinic/login.html"
    redirect_authenticated_user = True

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        asked = {
            "name": request.POST.get("username", ""),
            "address": request.META.get("REMOTE_ADDR", ""),
            "now": timezone.now(),
        }
        if is_locked(sign_in.misses_before(**asked), known=sign_in.is_known(**asked)):
            return locked_out(request, None)
        return super().post(request, *args, **kwargs)


class LogOut(problems.ProblemForMethod, LogoutView):
    """Ends the session."""


def locked_out(request: HttpRequest, credentials: Any, *args: Any, **kwargs: Any) -> HttpResponse:
    answer = problems.plain(429, request, code="locked_out", detail="Too many failed attempts: try again later")
    answer["Retry-After"] = "900"
    return answer
