"""A lost signing PIN: an administrator starts another, its owner alone gets the code, and is told what follows."""

import hashlib
import hmac
from datetime import datetime
from uuid import UUID

from django.conf import settings
from django.db import transaction

from clinic import mailer, outbox
from clinic.enums import NoticeKind
from clinic.errors import Conflict, NotAllowed
from clinic.models import PinReset, Staff
from clinic.rules import pin_resets as rules
from clinic.rules.access import Actor
from clinic.selectors import pin_resets as selectors
from clinic.services import notices, pins
from clinic.services.pins import PinProof


class NoAddress(Conflict):
    code = "no_mail_address"
    title = "She has entered no mail address: her code could not reach her"


class NoMail(Conflict):
    code = "mail_not_set_up"
    title = "This installation sends no mail: EMAIL_URL is not set"


class NoPinReset(Conflict):
    code = "no_pin_reset"
    title = "No code is good for you now: ask an administrator to start another"


class WrongCode(NotAllowed):
    code = "wrong_code"
    title = "The code is not right"


@transaction.atomic
def start(*, actor: Actor, staff: Staff, now: datetime) -> PinReset:
    """Start another PIN for somebody; a code that was sent before is good no more. The caller holds the row's lock."""
    if not mailer.works():
        raise NoMail
    if staff.user is None or not staff.user.email:
        raise NoAddress
    selectors.open_reset_of(staff.pk).update(ended_at=now)
    reset = PinReset.objects.create(
        organization_id=staff.organization_id,
        staff=staff,
        started_by_id=actor.person,
        started_at=now,
        expires_at=now + rules.GOOD_FOR,
    )
    outbox.record("pin_reset.started", organization_id=staff.organization_id, now=now, reset_id=reset.pk)
    _tell(reset, NoticeKind.PIN_RESET, now)
    return reset


@transaction.atomic
def prove_code(*, actor: Actor, code: str, now: datetime) -> UUID | None:
    """The reset that this code is of, or None: one guess, counted here and now, whatever comes of it later."""
    reset = selectors.open_reset_of(actor.person, lock=True).first()
    good = reset is not None and rules.is_good(
        misses=reset.misses, ended_at=reset.ended_at, expires_at=reset.expires_at, now=now
    )
    if reset is None or not good:
        raise NoPinReset
    if hmac.compare_digest(rules.plain(code).encode(), rules.plain(code_of(reset.pk)).encode()):
        return reset.pk
    reset.misses += 1
    reset.save(update_fields=["misses"])
    return None


def require_code(*, actor: Actor, code: str, now: datetime) -> UUID:
    reset_id = prove_code(actor=actor, code=code, now=now)
    if reset_id is None:
        raise WrongCode
    return reset_id


@transaction.atomic
def use(*, actor: Actor, reset_id: UUID, proof: PinProof, pin: str, now: datetime) -> None:
    """Set the new PIN; the code was proved before, and is spent now."""
    reset = selectors.open_reset_of(actor.person, lock=True).filter(pk=reset_id).first()
    if reset is None:
        raise NoPinReset
    pins.set_pin(actor=actor, proof=proof, pin=pin, now=now)
    reset.used_at = reset.ended_at = now
    reset.save(update_fields=["used_at", "ended_at"])


@transaction.atomic
def list_signatures(*, now: datetime) -> int:
    """Tell each owner of a PIN that was reset a day ago what was signed with it since; returns how many were told."""
    due = selectors.resets_to_list(now=now)
    for reset in due:
        reset.listed_at = now
        reset.save(update_fields=["listed_at"])
        outbox.record("pin_reset.watched", organization_id=reset.organization_id, now=now, reset_id=reset.pk)
        _tell(reset, NoticeKind.SIGNATURES_SINCE_PIN_RESET, now)
    return len(due)


def code_of(reset_id: UUID) -> str:
    """What the owner is sent: made of the row's id and the key of the PINs, so that no table holds it."""
    asked = b"pin reset " + reset_id.bytes
    return rules.code_from(hmac.new(settings.PIN_KEY.encode(), asked, hashlib.sha256).digest())


def _tell(reset: PinReset, kind: NoticeKind, now: datetime) -> None:
    notices.tell(
        organization_id=reset.organization_id,
        recipients=[reset.staff_id],
        kind=kind,
        subject_kind="pin_reset",
        subject_id=reset.pk,
        now=now,
    )
