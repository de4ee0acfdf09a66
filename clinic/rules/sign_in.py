"""When a sign-in is refused for what was tried before: on one account from many places, from one place on many."""

from dataclasses import dataclass
from datetime import timedelta

SHORT, LONG = timedelta(minutes=15), timedelta(hours=24)
# Of one account, from wherever they come; of one address, whomever they name. The account's own misses from this
# address are counted apart, and lock sooner.
ACCOUNT_SHORT, ACCOUNT_LONG, ADDRESS_SHORT = 30, 100, 100
# An address from which she has signed in within these days is hers: strangers' misses do not lock her out there.
KNOWN_FOR = timedelta(days=30)


@dataclass(frozen=True)
class Misses:
    """Sign-ins that failed: of the account in the short and the long time, of the address in the short one."""

    account_short: int
    account_long: int
    address_short: int


def is_locked(misses: Misses, *, known: bool) -> bool:
    """Whether the password is not even compared. Where she is known, only her own misses count.

    Source: NIST SP 800-63B, section 5.2.2 (rate limiting): at most 100 failed attempts on an account, and taking only
    those from addresses from which she was let in before, so that nobody is locked out by a stranger.
    """
    if known:
        return False
    return (
        misses.account_short >= ACCOUNT_SHORT
        or misses.account_long >= ACCOUNT_LONG
        or misses.address_short >= ADDRESS_SHORT
    )
