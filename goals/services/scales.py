"""What people do to the organization's own scales."""

from typing import Any
from uuid import UUID

from django.db import transaction

from clinic import outbox
from clinic.errors import Conflict, constraint_as_error
from clinic.rules.access import Actor
from clinic.services.changes import apply_changes
from goals.models import OrderedScale


class ScaleNameTaken(Conflict):
    code = "scale_name_taken"
    title = "The organization has a scale of this name"


TAKEN = {"scale_name_once_per_organization": ScaleNameTaken}


@transaction.atomic
def add_scale(*, actor: Actor, scale_id: UUID, digest: str, name: str, levels: list[str]) -> OrderedScale:
    """A scale of the organization: named levels, lowest first, which never change."""
    with constraint_as_error(TAKEN):
        scale = OrderedScale.objects.create(
            pk=scale_id, organization_id=actor.organization_id, name=name, levels=levels, created_digest=digest
        )
    outbox.created("scale", scale)
    return scale


@transaction.atomic
def change_scale(*, scale: OrderedScale, **wanted: Any) -> OrderedScale:
    """Give a scale another name."""
    with constraint_as_error(TAKEN):
        apply_changes(scale, wanted)
    outbox.changed("scale", scale)
    return scale
