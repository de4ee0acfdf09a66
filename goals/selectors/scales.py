"""Reads of the organization's own scales."""

from uuid import UUID

from django.db.models import QuerySet

from clinic.errors import NotFound
from clinic.rules.access import Actor
from goals.models import OrderedScale


def scales_for(actor: Actor) -> QuerySet[OrderedScale]:
    """The scales of her organization; they say nothing of any child."""
    return OrderedScale.objects.of(actor)


def scale_for(actor: Actor, scale_id: UUID, *, lock: bool = False) -> OrderedScale:
    """One scale of her organization, or NotFound."""
    rows = scales_for(actor)
    if lock:
        rows = rows.select_for_update(of=("self",), no_key=True)
    row = rows.filter(pk=scale_id).first()
    if row is None:
        raise NotFound
    return row


def scale_exists(scale_id: UUID) -> bool:
    return OrderedScale.objects.filter(pk=scale_id).exists()
