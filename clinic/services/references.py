"""Rows that a request names in its members."""

from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from clinic.errors import InvalidField, NotFound
from clinic.selectors.rows import one


def named(rows: QuerySet[Any], row_id: UUID, *, member: str, lock: bool = False) -> Any:
    """The row that this member names; one out of reach is refused as one that does not exist."""
    try:
        return one(rows, row_id, lock=lock)
    except NotFound:
        raise InvalidField(f"/{member}", "There is no such row in your reach", code="not_found") from None
