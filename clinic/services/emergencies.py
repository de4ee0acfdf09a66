"""Emergency access: what a child's safety rests on is shown at once, explained afterwards, and never in silence."""

from collections.abc import Collection
from datetime import date, datetime
from uuid import UUID

from django.db import transaction

from clinic import outbox
from clinic.enums import NoticeKind
from clinic.errors import Conflict
from clinic.models import Client, EmergencyAccess
from clinic.models.document_readings import AN_HOUR
from clinic.rules.access import Actor
from clinic.selectors import emergencies as selectors
from clinic.selectors.actors import today_in
from clinic.selectors.carers import caring_for
from clinic.selectors.staff import administrators
from clinic.services import notices
from clinic.services.references import named


class ChosenAlready(Conflict):
    code = "child_chosen_already"
    title = "The child was chosen already: make another emergency access"


class ExplainedAlready(Conflict):
    code = "explained_already"
    title = "The reason was given already; it stays as it was given"


@transaction.atomic
def open_access(*, actor: Actor, found: Collection[Client], now: datetime) -> EmergencyAccess:
    """Open the one child who is meant; where several are, she chooses. She owes a reason either way."""
    (child,) = found if len(found) == 1 else (None,)
    access = EmergencyAccess.objects.create(
        organization_id=actor.organization_id,
        client=child,
        opened_by_id=actor.person,
        begun_at=now,
        ends_at=now + AN_HOUR,
    )
    outbox.created("emergency_access", access, client_id=access.client_id)
    _tell(access, NoticeKind.EMERGENCY_REASON_OWED, {actor.person}, now)
    _tell_those_concerned(access, actor.today, now)
    return access


@transaction.atomic
def choose_child(*, actor: Actor, access: EmergencyAccess, client: UUID, now: datetime) -> EmergencyAccess:
    """Say which of several children was meant. The caller holds the row's lock."""
    child = named(selectors.any_child(actor), client, member="client")
    if access.client_id == child.pk:
        return access
    if access.client_id is not None:
        raise ChosenAlready
    access.client = child
    access.save(update_fields=["client"])
    outbox.changed("emergency_access", access, client_id=child.pk)
    _tell_those_concerned(access, actor.today, now)
    return access


@transaction.atomic
def explain(*, access: EmergencyAccess, reason: str, now: datetime) -> EmergencyAccess:
    """Say afterwards why it was necessary. The caller holds the row's lock."""
    if access.reason is not None:
        raise ExplainedAlready
    # Two machines' clocks may differ by a little.
    access.reason, access.explained_at = reason, max(now, access.begun_at)
    access.save(update_fields=["reason", "explained_at"])
    outbox.changed("emergency_access", access, client_id=access.client_id)
    return access


def ask_for_explanations(*, now: datetime) -> int:
    """Tell whoever still owes a reason after a day, and the administrators; answers how many are owed."""
    owed = list(selectors.overdue_explanations(now))
    for access in owed:
        today = today_in(access.organization.time_zone, now)
        told = {access.opened_by_id} | administrators(access.organization_id, today=today)
        _tell(access, NoticeKind.EMERGENCY_REASON_OVERDUE, told, now)
    return len(owed)


def _tell_those_concerned(access: EmergencyAccess, today: date, now: datetime) -> None:
    """Whoever treats the child, whoever answers for them, and the administrators."""
    told = administrators(access.organization_id, today=today)
    if access.client_id is not None:
        told |= caring_for(access.client_id, today=today)
    _tell(access, NoticeKind.EMERGENCY_ACCESS, told - {access.opened_by_id}, now)


def _tell(access: EmergencyAccess, kind: NoticeKind, recipients: set[UUID], now: datetime) -> None:
    notices.tell(
        organization_id=access.organization_id,
        recipients=recipients,
        kind=kind,
        subject_kind="emergency_access",
        subject_id=access.pk,
        now=now,
    )
