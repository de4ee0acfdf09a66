"""The signing PIN: set by its owner, proved before she signs, misses counted apart from what was tried."""

import hashlib
import hmac
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from argon2 import PasswordHasher
from argon2.exceptions import VerifyMismatchError
from django.conf import settings
from django.db import transaction

from clinic import outbox
from clinic.errors import Conflict, InvalidField, Locked, NotAllowed
from clinic.models import SigningPin, User
from clinic.rules import pins as rules
from clinic.rules.access import Actor

# Argon2id with 19 MiB, two passes, one lane: 16 ms where it was measured.
HASHER = PasswordHasher(time_cost=2, memory_cost=19 * 1024, parallelism=1)


class WrongPin(NotAllowed):
    code = "wrong_pin"
    title = "The signing PIN is not right"


class NoPin(Conflict):
    code = "no_signing_pin"
    title = "Set a signing PIN first"


class WrongPassword(NotAllowed):
    code = "wrong_password"
    title = "The password is not right"


@dataclass(frozen=True)
class PinProof:
    """That this person gave her PIN, or her account's password, in this request; many acts check it once."""

    staff_id: UUID
    at: datetime


def _keyed(pin: str) -> str:
    return hmac.new(settings.PIN_KEY.encode(), pin.encode(), hashlib.sha256).hexdigest()


def prove_password(*, actor: Actor, password: str, now: datetime) -> PinProof:
    """The proof that this is she, by the account's password; a miss counts like a PIN's."""
    user = User.objects.get(staff=actor.person)
    if not _attempt(actor, now, lambda _: user.check_password(password), forgives=False):
        raise WrongPassword
    return PinProof(staff_id=actor.person, at=now)


@transaction.atomic
def set_pin(*, actor: Actor, proof: PinProof, pin: str, now: datetime) -> None:
    """Set or change one's own PIN; what came before is forgotten, misses too."""
    if proof.staff_id != actor.person:
        raise WrongPassword
    fault = rules.pin_fault(pin)
    if fault:
        raise InvalidField("/pin", f"Choose another PIN: {fault.replace('_', ' ')}", code=fault)
    SigningPin.objects.filter(staff_id=actor.person).update(
        hash=HASHER.hash(_keyed(pin)), misses=0, locked_until=None, changed_at=now
    )
    outbox.record("pin.changed", organization_id=actor.organization_id, now=now, staff_id=actor.person, at=now)


def prove_present(*, actor: Actor, pin: str | None, now: datetime) -> None:
    """Whoever has a PIN gives it before she changes it; a lost one is set by a code that only she is sent."""
    if not SigningPin.objects.filter(staff_id=actor.person).exclude(hash="").exists():
        return
    if pin is None:
        raise InvalidField("/current_pin", "Give the PIN that signs so far", code="required")
    prove(actor=actor, pin=pin, now=now)


def prove(*, actor: Actor, pin: str, now: datetime) -> PinProof:
    """The proof that this is she who signs; refuses with WrongPin, Locked or NoPin."""
    if not _attempt(actor, now, lambda stored: _matches(stored, pin)):
        raise WrongPin
    return PinProof(staff_id=actor.person, at=now)


@transaction.atomic
def _attempt(actor: Actor, now: datetime, is_right: Callable[[str], bool], *, forgives: bool = True) -> bool:
    """One guess, counted here and now: what was tried with it comes later, in another transaction.

    The right PIN forgives misses; the right password does not, or whoever had it could guess the PIN for ever.
    """
    held = _held(actor) or _begun(actor, now)
    if held.locked_until is not None and rules.is_locked(held.locked_until, now=now):
        raise Locked(retry_after=max(1, int((held.locked_until - now).total_seconds())))
    right = is_right(held.hash)
    before = (held.misses, held.locked_until)
    if not right:
        held.misses, held.locked_until = rules.after_miss(held.misses, now=now)
    elif forgives:
        held.misses, held.locked_until = 0, None
    if before != (held.misses, held.locked_until):
        held.save(update_fields=["misses", "locked_until"])
    return right


def _held(actor: Actor) -> SigningPin | None:
    return SigningPin.objects.select_for_update(no_key=True).filter(staff_id=actor.person).first()


def _begun(actor: Actor, now: datetime) -> SigningPin:
    """The row in which her misses are counted, which somebody else may have begun in this instant."""
    SigningPin.objects.bulk_create(
        [SigningPin(staff_id=actor.person, organization_id=actor.organization_id, hash="", changed_at=now)],
        ignore_conflicts=True,
    )
    return SigningPin.objects.select_for_update(no_key=True).get(staff_id=actor.person)


def _matches(stored: str, pin: str) -> bool:
    if not stored:
        raise NoPin
    try:
        return HASHER.verify(stored, _keyed(pin))
    except VerifyMismatchError:
        return False
