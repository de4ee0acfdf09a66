"""Cursor pages: the cursor is sealed, bound to route, filter and organization, and names a row by its key."""

import base64
import hashlib
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from cryptography.fernet import Fernet, InvalidToken
from django.conf import settings
from django.db.models import Q, QuerySet
from django.utils.encoding import iri_to_uri
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request

SALT = "clinic.cursor"
READERS: dict[str, Callable[[str], Any]] = {
    "datetime": datetime.fromisoformat,
    "date": date.fromisoformat,
    "UUID": UUID,
    "int": int,
    "str": str,
    "Decimal": Decimal,
}


Fetch = Callable[[list[Any] | None, bool, int], list[Any]]


@dataclass(frozen=True)
class Page:
    rows: list[Any]
    next: str | None
    previous: str | None


def page_size(request: Request) -> int:
    """The size asked for: below 1 is refused, above the most is taken as the most (AIP-158)."""
    given = request.query_params.get("page_size")
    if given is None:
        return settings.PAGE_SIZE
    if not given.isascii() or not given.isdigit() or int(given[:6]) < 1 or len(given) > 6:
        raise ValidationError({"page_size": ["Give a whole number from 1"]}, code="invalid")
    return min(int(given), settings.PAGE_SIZE_MOST)


def page_of(request: Request, rows: QuerySet, *, order: Sequence[str], bound_to: str) -> Page:
    """One page of the rows in this order; the last name of the order makes it total."""

    def fetch(key: list[Any] | None, backwards: bool, limit: int) -> list[Any]:
        found = rows.order_by(*_turned(order, backwards))
        if key is not None:
            found = found.filter(_beyond(order, key, backwards))
        return list(found[:limit])

    return page_from(request, fetch, order=order, bound_to=bound_to)


def page_from(request: Request, fetch: Fetch, *, order: Sequence[str], bound_to: str) -> Page:
    """One page of what `fetch(key, backwards, limit)` answers: rows beyond the key, nearest first."""
    size = page_size(request)
    binding = _binding(request, bound_to)
    backwards, key = _read(request, binding, len(order))
    taken = fetch(key, backwards, size + 1)
    more = len(taken) > size
    taken = taken[:size]
    if backwards:
        taken.reverse()
    has_next = bool(taken) and (more if not backwards else True)
    has_previous = bool(taken) and (more if backwards else key is not None)
    return Page(
        rows=taken,
        next=_link(request, _cursor(taken[-1], order, binding, backwards=False)) if has_next else None,
        previous=_link(request, _cursor(taken[0], order, binding, backwards=True)) if has_previous else None,
    )


def _binding(request: Request, bound_to: str) -> str:
    asked = sorted((k, v) for k, v in request.query_params.items() if k not in ("cursor", "page_size"))
    return hashlib.sha256(repr((request.path, asked, bound_to)).encode()).hexdigest()[:16]


def _read(request: Request, binding: str, parts: int) -> tuple[bool, list[Any] | None]:
    given = request.query_params.get("cursor")
    if given is None:
        return False, None
    try:
        if len(given) > 2000:
            raise ValueError
        held = json.loads(_sealer().decrypt(given.encode()))
        if held["b"] != binding or len(held["k"]) != parts:
            raise ValueError
        return bool(held["r"]), [READERS[kind](text) for kind, text in held["k"]]
    except (InvalidToken, ValueError, KeyError, TypeError):
        raise ValidationError({"cursor": ["This cursor is not one of this list's"]}, code="invalid_cursor") from None


def _turned(order: Sequence[str], backwards: bool) -> list[str]:
    if not backwards:
        return list(order)
    return [name[1:] if name.startswith("-") else f"-{name}" for name in order]


def _beyond(order: Sequence[str], key: Sequence[Any], backwards: bool) -> Q:
    """Rows after this key: greater in the first name, or equal there and greater in the next, and so on."""
    condition = Q(pk__in=[])
    for place, name in enumerate(order):
        falling = name.startswith("-") != backwards
        same = Q(**{bare(n): v for n, v in zip(order[:place], key, strict=False)}) if place else Q()
        condition |= same & Q(**{f"{bare(name)}__{'lt' if falling else 'gt'}": key[place]})
    return condition


def bare(name: str) -> str:
    return name.lstrip("-")


def _cursor(row: Any, order: Sequence[str], binding: str, *, backwards: bool) -> str:
    values = [_value(row, bare(name)) for name in order]
    key = [(type(value).__name__, value.isoformat() if isinstance(value, date) else str(value)) for value in values]
    return _sealer().encrypt(json.dumps({"b": binding, "r": backwards, "k": key}).encode()).decode()


def sealed(values: list[int], binding: str) -> str:
    """A position that a reader keeps and gives back, readable here alone."""
    return _sealer().encrypt(json.dumps({"b": binding, "k": values}).encode()).decode()


def opened(given: str, binding: str, *, member: str) -> list[int]:
    """The values that were sealed under this binding; anything else is refused."""
    try:
        held = json.loads(_sealer().decrypt(given.encode()))
        if held["b"] != binding:
            raise ValueError
        return [int(value) for value in held["k"]]
    except (InvalidToken, ValueError, KeyError, TypeError):
        raise ValidationError({member: ["This is no position that was given here"]}, code="invalid_cursor") from None


def _sealer() -> Fernet:
    """Signs and hides: a row's key may be a child's name, and a cursor stands in addresses and proxies' logs."""
    return Fernet(base64.urlsafe_b64encode(hashlib.sha256(f"{SALT}:{settings.SECRET_KEY}".encode()).digest()))


def _value(row: Any, name: str) -> Any:
    if isinstance(row, dict):
        return row[name]
    for part in name.split("__"):
        row = getattr(row, part)
    return row


def _link(request: Request, cursor: str) -> str:
    params = request.query_params.copy()
    params["cursor"] = cursor
    return iri_to_uri(f"{request.path}?{params.urlencode()}")
