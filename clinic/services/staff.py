"""Who works there: people come, hold roles, and leave."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from clinic import outbox
from clinic.enums import GivenRight
from clinic.errors import Conflict, InvalidField, constraint_as_error
from clinic.models import Staff, StaffRole
from clinic.rules.access import Actor
from clinic.selectors import staff as selectors
from clinic.services.changes import apply_changes
from clinic.services.periods import require_at_work, set_end
from clinic.services.references import named
from clinic.services.self_given_rights import gives_more, tell_if_self_given


class RoleOverlaps(Conflict):
    code = "role_overlaps"
    title = "She holds this role on some of these days already"


class BeganAfterwards(Conflict):
    code = "assignments_began_afterwards"
    title = "Some of what she was assigned to began after that day"


ROLE_OVERLAPS = {"staff_role_no_overlap": RoleOverlaps}


@transaction.atomic
def enter_staff(*, actor: Actor, staff_id: UUID, digest: str, **wanted: Any) -> Staff:
    """Enter somebody who works there."""
    _require_order(wanted.get("joined_on"), wanted.get("left_on"))
    staff = Staff.objects.create(pk=staff_id, organization_id=actor.organization_id, created_digest=digest, **wanted)
    outbox.created("staff", staff)
    return staff


@transaction.atomic
def change_staff(*, actor: Actor, staff: Staff, now: datetime, **wanted: Any) -> Staff:
    """Change her name or days; a last day ends all that goes beyond it, in the same act."""
    joined_on, left_on = wanted.get("joined_on", staff.joined_on), wanted.get("left_on", staff.left_on)
    _require_order(joined_on, left_on)
    apply_changes(staff, wanted)
    outbox.changed("staff", staff)
    if wanted.get("left_on") is not None:
        _end_what_goes_beyond(staff, wanted["left_on"], today=actor.today)
        outbox.record(
            "staff.leaving", organization_id=staff.organization_id, now=now, staff_id=staff.pk, left_on=left_on
        )
    return staff


@transaction.atomic
def give_role(
    *, actor: Actor, row_id: UUID, staff: UUID, starts_on: date, digest: str, now: datetime, **wanted: Any
) -> StaffRole:
    """Let somebody hold a role from a day on; one that she gives herself is told to the others."""
    person = named(selectors.colleagues(actor), staff, member="staff", lock=True)
    require_at_work(person, starts_on=starts_on, ends_on=wanted.get("ends_on"))
    with constraint_as_error(ROLE_OVERLAPS):
        held = StaffRole.objects.create(
            pk=row_id,
            organization_id=actor.organization_id,
            staff=person,
            starts_on=starts_on,
            created_digest=digest,
            **wanted,
        )
    outbox.created("staff_role", held)
    tell_if_self_given(actor=actor, receiver=person.pk, kind=GivenRight.ROLE, subject_id=held.pk, now=now)
    return held


@transaction.atomic
def end_role(*, actor: Actor, held: StaffRole, ends_on: date | None, now: datetime) -> StaffRole:
    """Set the last day of a role; more days of one's own are told to the others."""
    person = named(selectors.colleagues(actor), held.staff_id, member="staff", lock=True)
    require_at_work(person, starts_on=held.starts_on, ends_on=ends_on)
    longer = gives_more(held.ends_on, ends_on)
    set_end(held, ends_on, overlaps=ROLE_OVERLAPS)
    outbox.changed("staff_role", held)
    if longer:
        tell_if_self_given(actor=actor, receiver=person.pk, kind=GivenRight.ROLE, subject_id=held.pk, now=now)
    return held


def _require_order(joined_on: date | None, left_on: date | None) -> None:
    if joined_on is not None and left_on is not None and left_on < joined_on:
        raise InvalidField("/left_on", "The last day lies before the first", code="before_start")


def _end_what_goes_beyond(staff: Staff, left_on: date, *, today: date) -> None:
    """End hers with her last day; what was only to begin later is taken back, what had begun later is refused."""
    beyond = selectors.reaching_beyond(staff, left_on)
    begun = [str(row.pk) for _, row in beyond if left_on < row.starts_on <= today]
    if begun:
        raise BeganAfterwards(began_afterwards=begun)
    for kind, row in beyond:
        outbox.changed(kind, row, **_whose(row))
        if row.starts_on > left_on:
            row.delete()
        else:
            apply_changes(row, {"ends_on": left_on})


def _whose(row: Any) -> dict[str, Any]:
    episode = getattr(row, "episode", None)
    return {"client_id": episode.client_id, "episode_id": episode.pk} if episode else {}
