"""How a row that people change moves to its next version."""

from typing import Any

from clinic.models import Organization
from clinic.models.base import VersionedModel


def apply_changes(row: VersionedModel | Organization, wanted: dict[str, Any]) -> None:
    """Set these fields and move the version on, in one UPDATE. The caller holds the row's lock."""
    for name, value in wanted.items():
        setattr(row, name, value)
    row.version += 1
    row.save(update_fields=[*wanted, "version"])
