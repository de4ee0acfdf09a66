"""Passwords: which may be chosen, and how one's own is changed."""

from datetime import datetime
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction
from oauth2_provider.models import AccessToken, Grant, RefreshToken

from clinic.errors import InvalidField
from clinic.models import Staff, User
from clinic.rules import passwords as rules
from clinic.rules.access import Actor
from clinic.services.pins import PinProof, WrongPassword


class ChosenWithCare:
    """The framework's door to the rule on passwords: who she is and where she works is expected of her."""

    def validate(self, password: str, user: Any = None) -> None:
        fault = rules.password_fault(password, known=_known_of(user))
        if fault is not None:
            raise ValidationError(rules.IN_WORDS[fault], code=fault.value)

    def get_help_text(self) -> str:
        return rules.IN_WORDS[rules.PasswordFault.TOO_SHORT]


def _known_of(user: User | None) -> list[str]:
    if user is None:
        return []
    places = Staff.objects.filter(user=user).values_list("printed_name", "organization__name")
    return [part for part in (user.username, user.email, *(word for place in places for word in place)) if part]


@transaction.atomic
def change_password(*, actor: Actor, proof: PinProof, password: str, now: datetime) -> User:
    """Choose another password; every session and every application's token of hers ends with the old one."""
    if proof.staff_id != actor.person:
        raise WrongPassword
    user = User.objects.select_for_update(no_key=True).get(staff=actor.person)
    require_good(password, user=user)
    user.set_password(password)
    user.save(update_fields=["password"])
    end_tokens(user)
    return user


def require_good(password: str, *, user: User) -> None:
    """Refuse what is short, repeated, expected or among the most used, with a pointer and a sentence."""
    try:
        validate_password(password, user)
    except ValidationError as exc:
        raise InvalidField("/new_password", " ".join(exc.messages), code="weak_password") from exc


def end_tokens(user: User) -> None:
    Grant.objects.filter(user=user).delete()
    RefreshToken.objects.filter(user=user).delete()
    AccessToken.objects.filter(user=user).delete()
