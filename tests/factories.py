"""Rows for tests: plain functions that state what matters and fill in the rest."""

from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib.auth import get_user_model
from rest_framework.test import APIClient
from uuid_utils.compat import uuid7

from clinic.enums import (
    CareRole,
    DocumentKind,
    DocumentState,
    EpisodeStatus,
    RecordRegime,
    Role,
    ScopeKind,
    Setting,
    SignatureMeaning,
    SupervisionKind,
    VerdictOutcome,
)
from clinic.models import (
    CareTeam,
    Client,
    Credential,
    Document,
    DocumentVersion,
    EnteredInError,
    Episode,
    Organization,
    Room,
    Signature,
    Site,
    Staff,
    StaffRole,
    Supervision,
    Verdict,
)
from clinic.rules.canonical import digest, freeze
from goals.services import measurements as measuring

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


def make_signed_note(
    author: Staff,
    episode: Episode,
    *,
    service_date: date,
    measurements: list[dict[str, Any]],
    signed_at: datetime | None = None,
    requires_cosignature: bool = True,
    amends: Document | None = None,
) -> Document:
    """A note, or an addendum to one, as it stands once signed: its first version, signature and measurement rows."""
    signed_at = signed_at or datetime.combine(service_date, time(22), tzinfo=UTC)
    kind = DocumentKind.ADDENDUM if amends else DocumentKind.VISIT_NOTE
    document = Document.objects.create(
        organization_id=episode.organization_id,
        episode=episode,
        client_id=episode.client_id,
        kind=kind.value,
        author=author,
        service_date=service_date,
        draft={"measurements": measurements},
        amends=amends,
        requires_cosignature=requires_cosignature,
        changed_at=signed_at,
    )
    sign_again(document, measurements=measurements, signed_at=signed_at)
    return document


def sign_again(document: Document, *, measurements: list[dict[str, Any]], signed_at: datetime) -> DocumentVersion:
    """The next version of a note, signed by its author, with its measurement rows."""
    judged = measuring.judge(
        actor_organization=document.organization_id,
        episode=document.episode,
        service_date=document.service_date,
        raws=measurements,
        amends=document.amends,
    )
    frozen = freeze({"measurements": measurements})
    version = DocumentVersion.objects.create(
        organization_id=document.organization_id,
        document=document,
        number=document.versions.count() + 1,
        content=frozen,
        digest=digest(frozen),
        author_id=document.author_id,
        frozen_at=signed_at,
    )
    sign_version(version, document.author, SignatureMeaning.AUTHORSHIP, signed_at)
    document.state, document.draft, document.current_version = DocumentState.SIGNED.value, None, version
    document.cosign_due_at = signed_at + timedelta(days=7) if document.requires_cosignature else None
    document.save()
    measuring.write(version=version, document=document, judged=judged, site_id=None, recorded_at=signed_at)
    return version


def sign_version(version: DocumentVersion, signer: Staff, meaning: SignatureMeaning, signed_at: datetime) -> Signature:
    return Signature.objects.create(
        organization_id=version.organization_id,
        version=version,
        version_author_id=version.author_id,
        signer=signer,
        meaning=meaning.value,
        printed_name=signer.printed_name,
        signed_at=signed_at,
        application="session",
        digest=version.digest,
    )


def return_note(document: Document, by: Staff, *, at: datetime) -> Verdict:
    """The supervisor's verdict that a note must be mended."""
    verdict = Verdict.objects.create(
        organization_id=document.organization_id,
        version=document.current_version,
        outcome=VerdictOutcome.RETURNED.value,
        by=by,
        at=at,
        reason="Please count again",
    )
    document.state, document.draft, document.cosign_due_at = DocumentState.RETURNED.value, {}, None
    document.save()
    return verdict


def enter_in_error(document: Document, by: Staff, *, at: datetime) -> EnteredInError:
    """What a therapist says of a note that should not stand there."""
    document.error = EnteredInError.objects.create(
        organization_id=document.organization_id, document=document, by=by, at=at, reason="Another child's visit"
    )
    document.state, document.changed_at = DocumentState.ENTERED_IN_ERROR.value, at
    document.save()
    return document.error


def cosign_note(document: Document, by: Staff, *, at: datetime) -> Verdict:
    """The supervisor's co-signature."""
    signature = sign_version(document.current_version, by, SignatureMeaning.COSIGNATURE, at)
    document.state, document.cosign_due_at = DocumentState.COSIGNED.value, None
    document.save()
    return Verdict.objects.create(
        organization_id=document.organization_id,
        version=document.current_version,
        outcome=VerdictOutcome.COSIGNED.value,
        by=by,
        at=at,
        signature=signature,
    )
