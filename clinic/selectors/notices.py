"""Reads of what somebody was told."""

from django.db.models import QuerySet

from clinic.models import Notice
from clinic.rules.access import Action, Actor


def notices_for(actor: Actor, action: Action = Action.SEE_NOTICES, *, unread: bool | None = None) -> QuerySet[Notice]:
    """What she was told; only what she has not read, or only what she has, where that is asked."""
    rows = Notice.objects.visible_to(actor, action)
    return rows if unread is None else rows.filter(read_at__isnull=unread)
