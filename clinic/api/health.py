"""Is it alive, can it serve: for load balancers and for the person who started it. And what problem codes mean."""

from django.db import Error, connection
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.views import View

from clinic.api import problems
from clinic.errors import DomainError


def _database_answers() -> bool:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
            return cursor.fetchone() == (1,)
    except Error:
        return False


class Live(problems.ProblemForMethod, View):
    """The process runs."""

    def get(self, request: HttpRequest) -> HttpResponse:
        return JsonResponse({"status": "ok"})


class Ready(problems.ProblemForMethod, View):
    """The database answers."""

    def get(self, request: HttpRequest) -> HttpResponse:
        ready = _database_answers()
        return JsonResponse({"status": "ok" if ready else "unavailable"}, status=200 if ready else 503)


class Health(Ready):
    """The same, under the name that people try first."""


class ProblemWords(problems.ProblemForMethod, View):
    """What a problem's type means, in words."""

    def get(self, request: HttpRequest, code: str) -> HttpResponse:
        wanted = code.replace("-", "_")
        words = {known: title for known, title in (*problems.TITLES.values(), problems.INVALID)} | _domain_words(
            DomainError
        )
        if wanted not in words:
            return problems.not_found(request)
        return HttpResponse(words[wanted] + "\n", content_type="text/plain; charset=utf-8")


def _domain_words(kind: type[DomainError]) -> dict[str, str]:
    words = {kind.code: kind.title}
    for child in kind.__subclasses__():
        words |= _domain_words(child)
    return words
