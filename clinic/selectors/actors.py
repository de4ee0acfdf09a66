"""Who asks: the person behind a login or a token, in the roles that she holds today."""

import hashlib
from datetime import date, datetime
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import connection
from oauth2_provider.models import AccessToken

from clinic.enums import Role
from clinic.models import SystemPrincipal
from clinic.rules.access import Actor

PERSON = """
SELECT s.id, s.organization_id, o.time_zone, s.left_on,
       COALESCE(json_agg(json_build_array(r.role, r.starts_on, r.ends_on)) FILTER (WHERE r.id IS NOT NULL), '[]')
FROM clinic_staff s
JOIN clinic_organization o ON o.id = s.organization_id
LEFT JOIN clinic_staffrole r ON r.staff_id = s.id
WHERE s.user_id = %s
GROUP BY s.id, s.organization_id, o.time_zone, s.left_on
"""


def today_in(time_zone: str, now: datetime) -> date:
    return now.astimezone(ZoneInfo(time_zone)).date()


def person(
    *,
    user_id: UUID,
    now: datetime,
    application: str,
    scopes: frozenset[str] | None,
    organization_id: UUID | None = None,
) -> Actor | None:
    """The one place at work of this login, or the named one where there are several; None when there is none."""
    with connection.cursor() as cursor:
        cursor.execute(PERSON, [user_id])
        rows = cursor.fetchall()
    found = [actor for row in rows if (actor := _actor(row, user_id, now, application, scopes))]
    if organization_id is not None:
        found = [actor for actor in found if actor.organization_id == organization_id]
    return found[0] if len(found) == 1 else None


def _actor(row: tuple, user_id: UUID, now: datetime, application: str, scopes: frozenset[str] | None) -> Actor | None:
    staff_id, organization_id, time_zone, left_on, roles = row
    today = today_in(time_zone, now)
    if left_on is not None and left_on < today:
        return None
    day = today.isoformat()
    held = frozenset(Role(name) for name, starts, ends in roles if starts <= day and (ends is None or ends >= day))
    return Actor(
        organization_id=organization_id,
        staff_id=staff_id,
        user_id=user_id,
        roles=held,
        today=today,
        now=now,
        application=application,
        scopes=scopes,
    )


def system(*, client_id: str, now: datetime, scopes: frozenset[str]) -> Actor | None:
    """A system's own principal: bound to one organization and to explicit actions; it acts for nobody."""
    bound = SystemPrincipal.objects.select_related("organization").filter(application_client_id=client_id).first()
    if bound is None:
        return None
    today = today_in(bound.organization.time_zone, now)
    if bound.starts_on > today or (bound.ends_on is not None and bound.ends_on < today):
        return None
    return Actor(
        organization_id=bound.organization_id,
        staff_id=None,
        user_id=None,
        roles=frozenset(),
        today=today,
        now=now,
        application=client_id,
        scopes=scopes,
        system_actions=frozenset(bound.actions),
    )


def issued_to(client_id: str, token: str) -> bool:
    """Whether this application was given this access token."""
    kept = hashlib.sha256(token.encode()).hexdigest()
    return AccessToken.objects.filter(token_checksum=kept, application__client_id=client_id).exists()


def holder_of(token: str) -> tuple[UUID | None, str]:
    """The person for whom this access token was made, if for one, and the application that holds it."""
    kept = hashlib.sha256(token.encode()).hexdigest()
    found = AccessToken.objects.filter(token_checksum=kept).values_list("user_id", "application__client_id").first()
    return found or (None, "")
