"""Reads of PINs that were lost, and of what was signed afterwards."""

from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet

from clinic.models import PinReset, Signature, Staff
from clinic.rules.access import Actor
from clinic.rules.pin_resets import WATCHED_FOR, watched_until


def reset(reset_id: UUID) -> PinReset:
    return PinReset.objects.get(pk=reset_id)


def open_reset_of(staff_id: UUID, *, lock: bool = False) -> QuerySet[PinReset]:
    """The one reset of hers that has not ended, if there is one."""
    rows = PinReset.objects.filter(staff_id=staff_id, ended_at__isnull=True)
    return rows.select_for_update(no_key=True) if lock else rows


def resets_to_list(*, now: datetime) -> list[PinReset]:
    """Resets whose day is over and whose owners were not told yet, locked; another sweep's are left to it."""
    due = PinReset.objects.filter(used_at__lte=now - WATCHED_FOR, listed_at__isnull=True)
    return list(due.select_for_update(of=("self",), no_key=True, skip_locked=True).order_by("pk")[:100])


def signatures_since(reset: PinReset) -> list[Signature]:
    """What its owner signed in the day after she set the new PIN, in order."""
    if reset.used_at is None:
        return []
    rows = Signature.objects.select_related("version").filter(
        signer_id=reset.staff_id, signed_at__gte=reset.used_at, signed_at__lt=watched_until(reset.used_at)
    )
    return list(rows.order_by("signed_at", "pk"))


def own_signatures(
    actor: Actor, *, signed_from: datetime | None = None, signed_until: datetime | None = None
) -> QuerySet[Signature]:
    """Her own signatures, of whatever she may see today or not: they stand in her name."""
    rows = Signature.objects.filter(organization_id=actor.organization_id, signer_id=actor.person)
    if signed_from is not None:
        rows = rows.filter(signed_at__gte=signed_from)
    if signed_until is not None:
        rows = rows.filter(signed_at__lt=signed_until)
    return rows.select_related("version__document")


def address_of(staff_id: UUID) -> str:
    """Where her letters go; nothing where she entered no address."""
    return Staff.objects.filter(pk=staff_id).values_list("user__email", flat=True).first() or ""
