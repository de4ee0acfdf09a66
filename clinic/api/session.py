"""Signing in with a browser. Misses are counted by account and address, and lock."""

from typing import Any

from django.contrib.auth.views import LoginView, LogoutView
from django.http import HttpRequest, HttpResponse

from clinic.api import problems


class LogIn(problems.ProblemForMethod, LoginView):
    """The login page."""

    template_name = "clinic/login.html"
    redirect_authenticated_user = True


class LogOut(problems.ProblemForMethod, LogoutView):
    """Ends the session."""


def locked_out(request: HttpRequest, credentials: Any, *args: Any, **kwargs: Any) -> HttpResponse:
    answer = problems.plain(429, request, code="locked_out", detail="Too many failed attempts: try again later")
    answer["Retry-After"] = "900"
    return answer
