"""Reads of the people who work there."""

from collections.abc import Collection
from datetime import date
from uuid import UUID

from clinic.enums import Role
from clinic.models import Staff, StaffRole
from clinic.models.reach import ScopedQuerySet
from clinic.rules.access import Actor


def colleagues(actor: Actor) -> ScopedQuerySet:
    """Everybody of the organization, those who left included."""
    return Staff.objects.of(actor)


def holds_role(staff_id: UUID, roles: Collection[Role], *, on: date) -> bool:
    words = [role.value for role in roles]
    return StaffRole.objects.in_force(on).filter(staff_id=staff_id, role__in=words).exists()
