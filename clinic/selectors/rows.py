"""One row out of many in reach."""

from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from clinic.errors import NotFound


def one(rows: QuerySet[Any], row_id: UUID, *, lock: bool = False) -> Any:
    """The row of this id, locked when it is to be changed, or NotFound."""
    if lock:
        rows = rows.select_for_update(of=("self",), no_key=True)
    row = rows.filter(pk=row_id).first()
    if row is None:
        raise NotFound
    return row
