"""What the trail knows of sign-ins that failed, and of those that did not."""

from datetime import datetime

from django.db.models import Count, Q

from clinic.audit import named
from clinic.enums import AccountAction, Outcome
from clinic.models import AccountEvent
from clinic.rules.sign_in import KNOWN_FOR, LONG, SHORT, Misses

MISS = "not_let_in"  # as clinic.api.account_trail tells a wrong password; a try while locked is none


def misses_before(*, name: str, address: str, now: datetime) -> Misses:
    """Sign-ins that failed of late: of this account from anywhere, and of any account from this address."""
    failed = AccountEvent.objects.filter(action=AccountAction.SIGN_IN.value, code=MISS, at__lte=now)
    lately = Count("pk", filter=Q(at__gt=now - SHORT))
    account = failed.filter(named=named(name), at__gt=now - LONG).aggregate(short=lately, long=Count("pk"))
    at_address = failed.filter(address=address, at__gt=now - SHORT).count() if address else 0
    return Misses(account_short=account["short"], account_long=account["long"], address_short=at_address)


def is_known(*, name: str, address: str, now: datetime) -> bool:
    """Whether this account was let in from this address of late."""
    let_in = AccountEvent.objects.filter(action=AccountAction.SIGN_IN.value, outcome=Outcome.DONE.value)
    return bool(address) and let_in.filter(named=named(name), address=address, at__gt=now - KNOWN_FOR).exists()
