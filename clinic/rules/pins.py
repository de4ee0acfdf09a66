"""The signing PIN: what it may look like, and when misses lock it."""

import re
from datetime import datetime, timedelta
from enum import StrEnum
from typing import NamedTuple

PIN_FORM = re.compile(r"[0-9]{6,12}")
ASCENDING = "01234567890123456789"
DESCENDING = ASCENDING[::-1]
MISSES_TO_LOCK = 5
LOCKED_FOR = timedelta(minutes=15)


class PinFault(StrEnum):
    """Why a PIN may not be chosen."""

    NOT_SIX_TO_TWELVE_DIGITS = "not_six_to_twelve_digits"
    ONE_DIGIT_REPEATED = "one_digit_repeated"
    RUN_OF_DIGITS = "run_of_digits"


class MissOutcome(NamedTuple):
    """Misses since the last right PIN or lock, and until when the PIN is locked."""

    misses: int
    locked_until: datetime | None


def pin_fault(pin: str) -> PinFault | None:
    """Why this PIN may not be chosen, or None when it may."""
    if PIN_FORM.fullmatch(pin) is None:
        return PinFault.NOT_SIX_TO_TWELVE_DIGITS
    if len(set(pin)) == 1:
        return PinFault.ONE_DIGIT_REPEATED
    if pin in ASCENDING or pin in DESCENDING:
        return PinFault.RUN_OF_DIGITS
    return None


def is_locked(locked_until: datetime | None, *, now: datetime) -> bool:
    """True until the lock's last instant has passed; a locked PIN is not even compared."""
    return locked_until is not None and now < locked_until


def after_miss(misses: int, *, now: datetime) -> MissOutcome:
    """What a wrong PIN leaves: one miss more, and from the fifth a lock, after which counting starts anew."""
    if misses + 1 < MISSES_TO_LOCK:
        return MissOutcome(misses + 1, None)
    return MissOutcome(0, now + LOCKED_FOR)
