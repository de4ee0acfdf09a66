"""Reads of what must not be done with a child, or only with care."""

from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from clinic.models import Precaution
from clinic.rules.access import Action, Actor


def precautions_for(
    actor: Actor, action: Action = Action.SEE_PRECAUTIONS, *, live: bool | None = None, **equal: Any
) -> QuerySet[Precaution]:
    """Precautions of children in reach: all, those to be heeded today, or the others."""
    rows: Any = Precaution.objects.visible_to(actor, action).filter(**equal)
    if live is None:
        return rows
    heeded = rows.live_on(actor.today)
    return heeded if live else rows.exclude(pk__in=heeded.values("pk"))


def precaution_exists(row_id: UUID) -> bool:
    return Precaution.objects.filter(pk=row_id).exists()
