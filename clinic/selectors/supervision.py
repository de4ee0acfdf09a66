"""Reads of who answers for whom, and of handovers."""

from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from clinic.models import Succession, Supervision
from clinic.rules.access import Action, Actor


def supervisions_for(
    actor: Actor, action: Action = Action.SEE_SUPERVISION, *, on: date | None = None, **equal: Any
) -> QuerySet[Supervision]:
    """Supervision in the organization, on a day or ever."""
    rows: Any = Supervision.objects.visible_to(actor, action).filter(**equal).select_related("episode")
    return rows.in_force(on) if on else rows


def supervision_exists(row_id: UUID) -> bool:
    return Supervision.objects.filter(pk=row_id).exists()


def successions_for(actor: Actor) -> QuerySet[Succession]:
    return Succession.objects.visible_to(actor, Action.SEE_SUPERVISION)
