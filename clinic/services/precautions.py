"""What must not be done with a child: recorded by whoever learns of it, lifted only as it says."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from clinic import outbox
from clinic.enums import Role
from clinic.errors import Conflict, InvalidField, NotAllowed
from clinic.models import Client, Precaution
from clinic.rules.access import Action, Actor
from clinic.services.changes import apply_changes
from clinic.services.references import named


class OnlyATherapistLifts(NotAllowed):
    code = "only_a_therapist_lifts"
    title = "A therapist records that a precaution is lifted"


class AlreadyLifted(Conflict):
    code = "already_lifted"
    title = "This precaution is lifted already"


@transaction.atomic
def record_precaution(
    *, actor: Actor, row_id: UUID, client: UUID, digest: str, now: datetime, **wanted: Any
) -> Precaution:
    """Record a precaution; unless it says otherwise, whoever set it may lift it."""
    child = named(Client.objects.visible_to(actor, Action.CHANGE_PRECAUTIONS), client, member="client")
    wanted.setdefault("may_be_lifted_by", wanted["set_by"])
    precaution = Precaution.objects.create(
        pk=row_id,
        organization_id=actor.organization_id,
        client=child,
        recorded_by_id=actor.person,
        created_digest=digest,
        **wanted,
    )
    outbox.created("precaution", precaution, client_id=child.pk)
    _tell("precaution.recorded", precaution, now)
    return precaution


@transaction.atomic
def lift_precaution(
    *, actor: Actor, precaution: Precaution, lifted_on: date, lifted_by: str, now: datetime
) -> Precaution:
    """Record that it no longer holds from a day on, by the word of who may say so; the history stays."""
    if Role.THERAPIST not in actor.roles:
        raise OnlyATherapistLifts
    if precaution.lifted_on is not None:
        raise AlreadyLifted(lifted_on=precaution.lifted_on.isoformat())
    if lifted_on < precaution.starts_on:
        raise InvalidField("/lifted_on", "This day lies before the precaution", code="before_start")
    if lifted_by != precaution.may_be_lifted_by:
        allowed = precaution.may_be_lifted_by.replace("_", " ")
        raise InvalidField("/lifted_by", f"It may be lifted by the {allowed} only", code="may_not_lift")
    apply_changes(precaution, {"lifted_on": lifted_on, "lifted_by": lifted_by, "lifted_recorded_by_id": actor.staff_id})
    outbox.changed("precaution", precaution, client_id=precaution.client_id)
    _tell("precaution.lifted", precaution, now)
    return precaution


def _tell(topic: str, precaution: Precaution, now: datetime) -> None:
    outbox.record(
        topic,
        organization_id=precaution.organization_id,
        now=now,
        precaution_id=precaution.pk,
        client_id=precaution.client_id,
    )
