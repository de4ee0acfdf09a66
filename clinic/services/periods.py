"""What holds from a day to a day, and how its last day is set."""

from collections.abc import Collection, Mapping
from datetime import date
from typing import Any

from clinic.enums import Role
from clinic.errors import DomainError, InvalidField, constraint_as_error
from clinic.models import Staff
from clinic.selectors import staff as staff_selectors
from clinic.services.changes import apply_changes


def set_end(row: Any, ends_on: date | None, *, overlaps: Mapping[str, type[DomainError]]) -> None:
    """Set or lift the last day of a locked row; a day before the first is refused."""
    if ends_on is not None and ends_on < row.starts_on:
        raise InvalidField("/ends_on", "The last day lies before the first", code="before_start")
    with constraint_as_error(overlaps):
        apply_changes(row, {"ends_on": ends_on})


def require_at_work(staff: Staff, *, starts_on: date, ends_on: date | None) -> None:
    """Refuse days that go beyond somebody's last day at work."""
    if staff.left_on is None:
        return
    if starts_on > staff.left_on:
        raise InvalidField("/starts_on", "This begins after her last day at work", code="beyond_last_day")
    if ends_on is None or ends_on > staff.left_on:
        raise InvalidField("/ends_on", "This goes beyond her last day at work", code="beyond_last_day")


def require_role(staff: Staff, roles: Collection[Role], *, on: date, member: str) -> None:
    """Refuse, at this member, somebody who holds none of these roles on the day."""
    if not staff_selectors.holds_role(staff.pk, roles, on=on):
        wanted = " or ".join(role.value.replace("_", " ") for role in roles)
        raise InvalidField(f"/{member}", f"On {on} this person does not hold the role {wanted}", code="role_not_held")
