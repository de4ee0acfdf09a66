"""Who was shown which version before it was co-signed: kept when it is fetched, asked for when it is decided on."""

from datetime import datetime

from clinic.enums import DocumentState, Role
from clinic.errors import Conflict
from clinic.models import Document, DocumentVersion, VersionOpening
from clinic.rules import signatures as rules
from clinic.rules.access import Actor
from clinic.selectors.version_openings import opening_of

TOLD = {
    rules.VerdictRefusal.NOT_OPENED: "Open this version before you co-sign it",
    rules.VerdictRefusal.FLAGGED_SINCE: "Something was flagged since you opened this version: open it again",
}


def keep_opening(
    *, actor: Actor, document: Document, version: DocumentVersion, flags_shown: int, now: datetime
) -> bool:
    """Keep that a version which waits was shown to somebody who may be asked to co-sign it; False of all others.

    Any therapist but its author may be asked, by cover or succession: who may co-sign is decided when she does.
    """
    waits = document.state == DocumentState.SIGNED.value and document.requires_cosignature
    current = version.pk == document.current_version_id
    if not (waits and current and Role.THERAPIST in actor.roles) or actor.staff_id in (None, document.author_id):
        return False
    opening = VersionOpening(
        organization_id=document.organization_id,
        version=version,
        staff_id=actor.person,
        flags_shown=flags_shown,
        opened_at=now,
    )
    # Shown again with the same flags, the first row stands: nothing is written and nobody waits.
    VersionOpening.objects.bulk_create([opening], ignore_conflicts=True)
    return True


def require_opened(*, actor: Actor, version: DocumentVersion, now: datetime) -> datetime:
    """When she first opened this version; refuses one that she has not, or that was flagged since."""
    opening = opening_of(version.pk, actor.person)
    refusal = rules.opening_refusal(
        opened=opening.opened_at is not None, flags_shown=opening.flags_shown, flags_now=opening.flags_now
    )
    if refusal or opening.opened_at is None:
        reason = refusal or rules.VerdictRefusal.NOT_OPENED
        raise Conflict(TOLD[reason], code=reason.value)
    return min(opening.opened_at, now)  # two machines' clocks may differ by a little


def first_opened(*, actor: Actor, version: DocumentVersion, now: datetime) -> datetime | None:
    """When she first opened this version, if she did: to return it is no promise to have read it all."""
    opened_at = opening_of(version.pk, actor.person).opened_at
    return min(opened_at, now) if opened_at else None
