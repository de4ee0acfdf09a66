"""Rows for tests: plain functions that state what matters and fill in the rest."""

from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib.auth import get_user_model
from rest_framework.test import APIClient
from uuid_utils.compat import uuid7

from clinic.enums import CareRole, EpisodeStatus, RecordRegime, Role, ScopeKind, Setting, SupervisionKind
from clinic.models import (
    CareTeam,
    Client,
    Credential,
    Episode,
    Organization,
    Room,
    Site,
    Staff,
    StaffRole,
    Supervision,
)

LONG_AGO = date(2025, 1, 1)


def make_organization(**over: Any) -> Organization:
    return Organization.objects.create(
        **{"name": "Alder Yard Therapy", "time_zone": "America/Chicago", "country": "US", "subdivision": "IL", **over}
    )


def make_site(organization: Organization, **over: Any) -> Site:
    given = {"name": f"Site {uuid7()}", "time_zone": "America/Chicago", "country": "US", "subdivision": "IL", **over}
    return Site.objects.create(organization=organization, **given)


def make_room(site: Site, **over: Any) -> Room:
    return Room.objects.create(
        organization_id=site.organization_id, site=site, **{"name": f"Room {uuid7()}", "places": 1, **over}
    )


def make_staff(organization: Organization, *roles: Role, **over: Any) -> Staff:
    user = get_user_model().objects.create(username=f"u{uuid7().hex}", password="!")
    staff = Staff.objects.create(
        organization=organization, **{"user": user, "printed_name": "Somebody", "joined_on": LONG_AGO, **over}
    )
    for role in roles:
        StaffRole.objects.create(organization=organization, staff=staff, role=role.value, starts_on=LONG_AGO)
    return staff


def make_credential(staff: Staff, **over: Any) -> Credential:
    given = {
        "kind": "licence",
        "abbreviation": "OTA",
        "jurisdiction": "US-IL",
        "number": uuid7().hex[:12],
        "starts_on": LONG_AGO,
        **over,
    }
    return Credential.objects.create(organization_id=staff.organization_id, staff=staff, **given)


def make_client(site: Site, **over: Any) -> Client:
    given = {"given_name": "Mirela", "family_name": "Oduya", "birth_date": date(2021, 5, 17), **over}
    return Client.objects.create(organization_id=site.organization_id, home_site=site, **given)


def make_episode(client: Client, **over: Any) -> Episode:
    given = {
        "site": client.home_site,
        "setting": Setting.OUTPATIENT.value,
        "jurisdiction": "US-IL",
        "record_regime": RecordRegime.HEALTH.value,
        "status": EpisodeStatus.ACTIVE.value,
        "opened_on": LONG_AGO,
        **over,
    }
    return Episode.objects.create(organization_id=client.organization_id, client=client, **given)


def put_on_team(staff: Staff, episode: Episode, **over: Any) -> CareTeam:
    given = {"role": CareRole.TREATING.value, "starts_on": LONG_AGO, **over}
    return CareTeam.objects.create(organization_id=staff.organization_id, staff=staff, episode=episode, **given)


def make_supervision(assistant: Staff, supervisor: Staff, **over: Any) -> Supervision:
    given = {
        "kind": SupervisionKind.PRIMARY.value,
        "scope": ScopeKind.ORGANIZATION.value,
        "starts_on": LONG_AGO,
        **over,
    }
    return Supervision.objects.create(
        organization_id=assistant.organization_id, assistant=assistant, supervisor=supervisor, **given
    )


def signed_in(staff: Staff) -> APIClient:
    """A client of the API in this person's browser session."""
    api = APIClient()
    api.force_login(staff.user, backend="django.contrib.auth.backends.ModelBackend")
    return api


def at(local: str, zone: str = "America/Chicago") -> datetime:
    """A wall-clock time in a zone, like at("2026-03-03 09:00")."""
    return datetime.fromisoformat(local).replace(tzinfo=ZoneInfo(zone))


def days(number: int) -> timedelta:
    return timedelta(days=number)


def new_id() -> str:
    return str(uuid7())
