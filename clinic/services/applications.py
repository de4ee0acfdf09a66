"""Who may call the API besides a browser: applications that act for a person, and systems that act for nobody."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from oauth2_provider.generators import generate_client_secret
from oauth2_provider.models import Application

from clinic import audit
from clinic.enums import AccountAction
from clinic.errors import InvalidField
from clinic.models import Organization, SystemPrincipal
from clinic.rules.access import SYSTEM_ACTIONS, Actor
from clinic.rules.text import in_words, name_fault
from clinic.selectors.actors import today_in


@dataclass(frozen=True)
class Registered:
    """What the application presents. The secret is told this once; the table keeps its hash."""

    client_id: str
    secret: str = field(default="", repr=False)


@transaction.atomic
def register_application(*, name: str, redirect_uris: Iterable[str], confidential: bool) -> Registered:
    """Let an application ask people for their consent; refuses a redirect address that is not plain https."""
    secret = generate_client_secret() if confidential else ""
    registered = _register(
        name=name,
        secret=secret,
        redirect_uris=" ".join(redirect_uris),
        client_type=Application.CLIENT_CONFIDENTIAL if confidential else Application.CLIENT_PUBLIC,
        authorization_grant_type=Application.GRANT_AUTHORIZATION_CODE,
    )
    audit.write_account(
        audit.AccountEvent(
            at=timezone.now(),
            action=AccountAction.REGISTER,
            status=200,
            route="register_application",
            application=registered.client_id,
        )
    )
    return registered


@transaction.atomic
def register_system(
    *, name: str, organization_id: UUID, actions: Iterable[str], now: datetime, ends_on: date | None = None
) -> Registered:
    """Let a system in, bound to one organization and to these actions; refuses any that no system may have."""
    wanted = _system_actions(actions)
    organization = Organization.objects.filter(pk=organization_id).first()
    if organization is None:
        raise InvalidField("/organization", "There is no such organization", code="not_found")
    today = today_in(organization.time_zone, now)
    if ends_on is not None and ends_on < today:
        raise InvalidField("/ends_on", "The last day has passed", code="out_of_range")
    registered = _register(
        name=name,
        secret=generate_client_secret(),
        client_type=Application.CLIENT_CONFIDENTIAL,
        authorization_grant_type=Application.GRANT_CLIENT_CREDENTIALS,
    )
    principal = SystemPrincipal.objects.create(
        organization=organization,
        application_client_id=registered.client_id,
        name=name,
        actions=wanted,
        starts_on=today,
        ends_on=ends_on,
    )
    _tell(principal, today=today, now=now)
    return registered


def _system_actions(actions: Iterable[str]) -> list[str]:
    wanted = sorted(set(actions))
    refused = [action for action in wanted if action not in SYSTEM_ACTIONS]
    if refused or not wanted:
        told = f"No system may have {', '.join(refused)}" if refused else "Name at least one action"
        raise InvalidField("/actions", f"{told}; there are {', '.join(sorted(SYSTEM_ACTIONS))}", code="invalid_choice")
    return wanted


def _register(*, name: str, secret: str, **options: Any) -> Registered:
    if fault := name_fault(name, max_length=200):
        raise InvalidField("/name", in_words(fault), code=fault)
    application = Application(name=name, client_secret=secret, **options)
    try:
        application.full_clean(exclude=["user", "client_secret"])
    except ValidationError as exc:
        field_name, messages = next(iter(exc.message_dict.items()))
        raise InvalidField(f"/{field_name}", " ".join(messages)) from exc
    application.save()
    return Registered(client_id=application.client_id, secret=secret)


def _tell(principal: SystemPrincipal, *, today: date, now: datetime) -> None:
    """One line in the trail: a way into the organization's record was opened from the command line."""
    operator = Actor(
        organization_id=principal.organization_id,
        staff_id=None,
        user_id=None,
        roles=frozenset(),
        today=today,
        now=now,
        application="command line",
    )
    audit.write(
        operator,
        audit.Event(
            at=now,
            action="systems:register",
            method="",
            route="register_system",
            request_id="",
            subject_id=principal.pk,
        ),
    )
