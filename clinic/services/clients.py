"""What people do to a child's own record."""

from typing import Any
from uuid import UUID

from django.db import transaction

from clinic import outbox
from clinic.errors import InvalidField, NotAllowed
from clinic.models import Client
from clinic.rules.access import Actor
from clinic.selectors import clients as selectors
from clinic.services.changes import apply_changes

CLINICAL = ("gestation_weeks", "gestation_days")


class CliniciansWord(NotAllowed):
    code = "clinicians_word"
    title = "How early a child was born is changed by those who treat her"


@transaction.atomic
def register_client(*, actor: Actor, client_id: UUID, digest: str, **wanted: Any) -> Client:
    """Enter a child under an id that the device made; an unknown site is refused."""
    site = _site(actor, wanted.pop("home_site"))
    client = Client.objects.create(
        pk=client_id,
        organization_id=actor.organization_id,
        home_site=site,
        entered_by_id=actor.staff_id,
        created_digest=digest,
        **wanted,
    )
    outbox.created("client", client, client_id=client.pk)
    return client


@transaction.atomic
def change_client(*, actor: Actor, client: Any, **wanted: Any) -> Client:
    """Change what is known of a child; the birth is the clinicians' to change. The version moves on."""
    wanted = wanted if client.birth_told else _without_the_birth(wanted)
    if "home_site" in wanted:
        wanted["home_site"] = _site(actor, wanted["home_site"])
    _require_weeks(client, wanted)
    apply_changes(client, wanted)
    outbox.changed("client", client, client_id=client.pk)
    return client


def _without_the_birth(wanted: dict[str, Any]) -> dict[str, Any]:
    """What was not shown is not written: null came back as it was shown, anything else is refused."""
    if any(wanted.get(name) is not None for name in CLINICAL):
        raise CliniciansWord
    return {name: value for name, value in wanted.items() if name not in CLINICAL}


def _require_weeks(client: Client, wanted: dict[str, Any]) -> None:
    """Days of gestation go with the weeks that stand after the change."""
    weeks = wanted.get("gestation_weeks", client.gestation_weeks)
    if weeks is None and wanted.get("gestation_days", client.gestation_days) is not None:
        raise InvalidField("/gestation_weeks", "Days of gestation need its weeks", code="required")


def _site(actor: Actor, site_id: UUID) -> Any:
    site = selectors.site_for(actor, site_id)
    if site is None:
        raise InvalidField("/home_site", "There is no such site in your reach", code="not_found")
    return site
