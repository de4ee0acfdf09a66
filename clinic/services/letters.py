"""What is told by mail. Each follows from the present rows, so that sent twice it says the same."""

from datetime import UTC, datetime
from uuid import UUID

from clinic import mailer
from clinic.rules.pin_resets import is_good
from clinic.selectors import pin_resets as selectors
from clinic.services.pin_resets import code_of

CODE = """\
An administrator has started a new signing PIN for you. Your code:

    {code}

It is good until {until}, once, together with your password: sign in and set the new PIN. Nobody else needs this code.
If you did not ask for it, do nothing and tell your administrator."""
CHANGED = """\
Your signing PIN was changed at {at}. If it was not you, tell your administrator at once: whoever changed it can sign in
your name."""
SIGNED = """\
Your signing PIN was reset at {at}. In the 24 hours after that {count} signed in your name:

{listed}
If one of them is not yours, tell your administrator at once. The service lists them under your signatures."""


def send_code(*, reset_id: UUID, now: datetime) -> bool:
    """The code to its owner; nothing once it is good no more."""
    reset = selectors.reset(reset_id)
    if not is_good(misses=reset.misses, ended_at=reset.ended_at, expires_at=reset.expires_at, now=now):
        return False
    text = CODE.format(code=code_of(reset.pk), until=_said(reset.expires_at))
    return _send(reset.staff_id, subject="Your code for a new signing PIN", text=text, about=f"code {reset.pk}")


def tell_changed(*, staff_id: UUID, at: datetime) -> bool:
    text = CHANGED.format(at=_said(at))
    return _send(staff_id, subject="Your signing PIN was changed", text=text, about=f"changed {staff_id} {at}")


def list_signatures(*, reset_id: UUID) -> bool:
    """What was signed in the day after a reset: times, meanings and ids, never whose record it is."""
    reset = selectors.reset(reset_id)
    if reset.used_at is None:
        return False
    signed = selectors.signatures_since(reset)
    lines = [f"    {_said(one.signed_at)}  {one.meaning}  {one.version.document_id}\n" for one in signed]
    count = f"{len(signed)} document was" if len(signed) == 1 else f"{len(signed)} documents were"
    text = SIGNED.format(at=_said(reset.used_at), count=count, listed="".join(lines))
    return _send(reset.staff_id, subject="Signed with your new PIN", text=text, about=f"signed {reset.pk}")


def _send(staff_id: UUID, *, subject: str, text: str, about: str) -> bool:
    to = selectors.address_of(staff_id)
    if not to or not mailer.works():
        return False
    mailer.send(to=to, subject=subject, text=text, about=about)
    return True


def _said(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("%Y-%m-%d %H:%M UTC")
