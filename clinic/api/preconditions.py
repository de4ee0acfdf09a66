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
    """A change of a row: 428 without If-Match, 412 when it is stale. The comparison is strong."""
    tags = tags_in(request, "If-Match")
    if tags is None:
        raise PreconditionRequired
    if tags != ["*"] and etag_of(version) not in tags:
        raise PreconditionFailed(current_etag=etag_of(version))


def not_modified(request: Request, version: int | str) -> bool:
    """A read whose If-None-Match names what would be shown; the comparison is weak."""
    tags = tags_in(request, "If-None-Match") or []
    return tags == ["*"] or etag_of(version) in [tag.removeprefix("W/") for tag in tags]
