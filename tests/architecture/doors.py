"""Every door of the API, found through the URL map."""

from collections.abc import Iterator
from typing import Any

from django.urls import URLPattern, URLResolver, get_resolver

from clinic.api.views import ApiView, ListDoor

BASE = "api/v1/"
NEW = "NEW"  # a PUT under an id that nothing has yet
METHODS = ("GET", "PUT", "PATCH", "POST", "DELETE")
# What stands below the base without being a door on the record.
ABOUT_THE_API = {"api/v1/openapi.json", "api/v1/docs/"}


def patterns(resolver: URLResolver, before: str = "") -> Iterator[tuple[str, Any]]:
    for entry in resolver.url_patterns:
        route = before + str(entry.pattern)
        if isinstance(entry, URLPattern):
            yield route, getattr(entry.callback, "view_class", None) or getattr(entry.callback, "cls", None)
        else:
            yield from patterns(entry, route)


def every_route() -> dict[str, Any]:
    return dict(patterns(get_resolver()))


def every_door() -> dict[str, type[ApiView]]:
    """Route below the base, with its view."""
    return {
        route.removeprefix(BASE): view
        for route, view in every_route().items()
        if route.startswith(BASE) and route not in ABOUT_THE_API
    }


def named_acts() -> list[tuple[str, str]]:
    """Each method that a door names an action for, as (method, route); a PUT is asked for a new row as well."""
    acts = [(method, route) for route, view in every_door().items() for method in METHODS if method in view.actions]
    return acts + [(NEW, route) for method, route in acts if method == "PUT"]


def list_doors() -> dict[str, type[ListDoor]]:
    return {route: view for route, view in every_door().items() if issubclass(view, ListDoor)}
