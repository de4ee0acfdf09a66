"""What a signed note or addendum consists of: the content that is frozen, strings and whole numbers only."""

import json
from datetime import datetime
from typing import Any


def note_content(note: Any, participation: Any, body: dict[str, Any]) -> dict[str, Any]:
    """The content of a visit's note: whose, when, where, and what was written. It names no other child."""
    visit = participation.visit
    return {
        **_head(note),
        "visit": {
            "id": str(visit.pk),
            "kind": visit.kind,
            "mode": visit.mode,
            "site": str(visit.site_id),
            "time_zone": visit.site.time_zone,
        },
        "participation": {
            "id": str(participation.pk),
            "starts_at": instant(participation.starts_at),
            "ends_at": instant(participation.ends_at),
            "arrived_at": instant(participation.arrived_at),
            "left_at": instant(participation.left_at),
            "minutes": participation.minutes,
        },
        "body": body,
    }


def addendum_content(addendum: Any, body: dict[str, Any]) -> dict[str, Any]:
    """The content of an addendum, bound to the version that it amends by that one's digest."""
    amended = addendum.amends.current_version
    return {**_head(addendum), "amends": str(addendum.amends_id), "amends_digest": amended.digest, "body": body}


def _head(document: Any) -> dict[str, Any]:
    return {
        "kind": document.kind,
        "document": str(document.pk),
        "organization": str(document.organization_id),
        "episode": str(document.episode_id),
        "client": str(document.client_id),
        "record_regime": document.episode.record_regime,
        "author": str(document.author_id),
        "service_date": document.service_date.isoformat(),
    }


def instant(value: datetime | None) -> str | None:
    return value.isoformat() if value else None


def body_of(content: bytes) -> dict[str, Any]:
    """What the author wrote, out of frozen content."""
    return json.loads(content)["body"]
