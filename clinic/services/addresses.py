"""Where a person's own letters go. She alone says so: a code that opens something must not reach who asked for it."""

from django.db import transaction

from clinic.models import User
from clinic.rules.access import Actor
from clinic.services.pins import PinProof, WrongPassword


@transaction.atomic
def set_address(*, actor: Actor, proof: PinProof, email: str) -> None:
    """Enter or change one's own mail address."""
    if proof.staff_id != actor.person:
        raise WrongPassword
    User.objects.filter(staff=actor.person).update(email=email)
