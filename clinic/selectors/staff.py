"""Reads of the people who work there: their roles, hours and licences."""

from collections.abc import Collection
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import Exists, OuterRef, Q, QuerySet

from clinic.enums import Role
from clinic.models import CareTeam, ContractedHours, Credential, Staff, StaffRole, Supervision
from clinic.models.reach import ScopedQuerySet
from clinic.rules.access import Action, Actor
from clinic.selectors.rows import one


def colleagues(actor: Actor) -> ScopedQuerySet:
    """Everybody of the organization, those who left included."""
    return Staff.objects.of(actor)


def staff_for(actor: Actor, *, role: str | None = None, working: bool | None = None) -> QuerySet[Staff]:
    """The staff, narrowed to those who hold a role today, and to those who work there today or do not."""
    rows = Staff.objects.visible_to(actor, Action.SEE_STAFF)
    if role is not None:
        held = StaffRole.objects.in_force(actor.today).filter(staff=OuterRef("pk"), role=role)
        rows = rows.filter(Exists(held))
    if working is None:
        return rows
    at_work = Q(joined_on__isnull=True) | Q(joined_on__lte=actor.today)
    at_work &= Q(left_on__isnull=True) | Q(left_on__gte=actor.today)
    return rows.filter(at_work if working else ~at_work)


def staff_member_for(actor: Actor, staff_id: UUID, action: Action = Action.SEE_STAFF, *, lock: bool = False) -> Staff:
    return one(Staff.objects.visible_to(actor, action), staff_id, lock=lock)


def staff_exists(staff_id: UUID) -> bool:
    return Staff.objects.filter(pk=staff_id).exists()


def roles_for(actor: Actor, action: Action = Action.SEE_STAFF, **equal: Any) -> QuerySet[StaffRole]:
    return StaffRole.objects.visible_to(actor, action).filter(**equal)


def role_exists(row_id: UUID) -> bool:
    return StaffRole.objects.filter(pk=row_id).exists()


def hours_for(actor: Actor, action: Action = Action.SEE_STAFF, **equal: Any) -> QuerySet[ContractedHours]:
    return ContractedHours.objects.visible_to(actor, action).filter(**equal)


def hours_exist(row_id: UUID) -> bool:
    return ContractedHours.objects.filter(pk=row_id).exists()


def credentials_for(actor: Actor, action: Action = Action.SEE_STAFF, **equal: Any) -> QuerySet[Credential]:
    return Credential.objects.visible_to(actor, action).filter(**equal)


def credential_exists(row_id: UUID) -> bool:
    return Credential.objects.filter(pk=row_id).exists()


def holds_role(staff_id: UUID, roles: Collection[Role], *, on: date) -> bool:
    words = [role.value for role in roles]
    return StaffRole.objects.in_force(on).filter(staff_id=staff_id, role__in=words).exists()


def administrators(organization_id: UUID, *, today: date) -> set[UUID]:
    """Who administers the organization today; not scoped, since they are told what they did not ask for."""
    rows = StaffRole.objects.in_force(today).filter(organization_id=organization_id, role=Role.ADMINISTRATOR.value)
    return set(rows.values_list("staff_id", flat=True))


def reaching_beyond(staff: Staff, day: date) -> list[tuple[str, Any]]:
    """What of hers goes on after a day, by kind of record, locked: care teams, supervision, roles, hours."""
    beyond = Q(ends_on__isnull=True) | Q(ends_on__gt=day)
    her_supervision = Q(assistant=staff) | Q(supervisor=staff)
    kinds: list[tuple[str, QuerySet[Any]]] = [
        ("care_team", CareTeam.objects.filter(beyond, staff=staff).select_related("episode")),
        ("supervision", Supervision.objects.filter(beyond, her_supervision).select_related("episode")),
        ("staff_role", StaffRole.objects.filter(beyond, staff=staff)),
        ("contracted_hours", ContractedHours.objects.filter(beyond, staff=staff)),
    ]
    return [
        (kind, row) for kind, rows in kinds for row in rows.select_for_update(of=("self",), no_key=True).order_by("pk")
    ]
