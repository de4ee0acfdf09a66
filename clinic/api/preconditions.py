"""Conditional requests (RFC 9110 section 13): what a client last saw decides whether its change is taken."""

import re

from rest_framework.exceptions import ParseError
from rest_framework.request import Request

from clinic.errors import PreconditionFailed, PreconditionRequired

ENTITY_TAG = re.compile(r'^(W/)?"[\x21\x23-\x7e\x80-\xff]*"$')


def etag_of(version: int | str) -> str:
    return f'"{version}"'


def tags_in(request: Request, header: str) -> list[str] | None:
    """The entity tags of a header, ["*"] for any, None when it was not sent."""
    value = request.headers.get(header)
    if value is None:
        return None
    tags = [part.strip() for part in value.split(",")]
    if tags != ["*"] and not all(ENTITY_TAG.match(tag) for tag in tags):
        raise ParseError(f"{header} must hold quoted entity tags", code="invalid_header")
    return tags


def require_match(request: Request, version: int | str) -> None:
    """A change of a row says which version it changes: 428 without If-Match, 412 when what it says is not so."""
    require_conditions(request, version)
    if tags_in(request, "If-Match") is None:
        raise PreconditionRequired


def require_conditions(request: Request, version: int | str | None) -> None:
    """412 unless the request's conditions hold of this version, or of nothing: If-Match first, then If-None-Match.

    RFC 9110, 13.2.2, steps 1 and 3. If-Match compares strongly, If-None-Match weakly.
    """
    current = None if version is None else etag_of(version)
    wanted, known = tags_in(request, "If-Match"), tags_in(request, "If-None-Match")
    if wanted is not None and not _names(wanted, current):
        raise PreconditionFailed(current_etag=current)
    if known is not None and _names([tag.removeprefix("W/") for tag in known], current):
        raise PreconditionFailed(current_etag=current)


def not_modified(request: Request, version: int | str) -> bool:
    """A read whose If-None-Match names what would be shown (RFC 9110, 13.2.2, step 3); its If-Match is asked first."""
    if not _names(tags_in(request, "If-Match") or ["*"], etag_of(version)):
        raise PreconditionFailed(current_etag=etag_of(version))
    return _names([tag.removeprefix("W/") for tag in tags_in(request, "If-None-Match") or []], etag_of(version))


def _names(tags: list[str], current: str | None) -> bool:
    return current is not None and (tags == ["*"] or current in tags)
