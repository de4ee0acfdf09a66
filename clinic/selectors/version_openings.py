"""What one person was shown of a version, and what it carries now."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import connection


@dataclass(frozen=True)
class Opening:
    """When she first fetched the version, with how many flags at the most, and how many it has by now."""

    opened_at: datetime | None
    flags_shown: int
    flags_now: int


OPENING = """
SELECT min(o.opened_at), COALESCE(max(o.flags_shown), 0),
       (SELECT count(*) FROM clinic_documentflag f WHERE f.version_id = %(version)s)
FROM clinic_versionopening o WHERE o.version_id = %(version)s AND o.staff_id = %(staff)s"""


def opening_of(version_id: UUID, staff_id: UUID) -> Opening:
    """Her opening of a version; the caller who goes by the flags holds the document's lock."""
    with connection.cursor() as cursor:
        cursor.execute(OPENING, {"version": version_id, "staff": staff_id})
        return Opening(*cursor.fetchone())
