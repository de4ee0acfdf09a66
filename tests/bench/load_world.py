"""A practice under load: assistants with held visits that wait for their notes, supervisors who answer for them."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django.utils import timezone
from uuid_utils.compat import uuid7

from clinic.enums import Role, SupervisionKind
from clinic.models import Episode, SigningPin, Staff
from clinic.services.pins import HASHER, _keyed
from scheduling.models import Booking, Participation, Visit
from tests import factories as make
from tests.bench.caller import token_of
from tests.bench.note_world import PIN, give_goal

GOALS = 3
APART = timedelta(minutes=4)
LONG = timedelta(minutes=3)


@dataclass(frozen=True)
class Writer:
    """An assistant: her access token, her child's goals, the parts of visits that wait for notes."""

    token: str
    goals: list[UUID]
    parts: list[UUID]


@dataclass(frozen=True)
class World:
    """Who writes, and the tokens of two supervisors who may both decide."""

    writers: list[Writer]
    supervisors: list[str]


def made(*, writers: int, visits: int) -> World:
    organization = make.make_organization()
    site = make.make_site(organization)
    first, second = (_person(organization, Role.THERAPIST) for _ in range(2))
    found = []
    for _ in range(writers):
        assistant, episode = _person(organization, Role.ASSISTANT), make.make_episode(make.make_client(site))
        for person in (assistant, first, second):
            make.put_on_team(person, episode)
        make.make_supervision(assistant, first)
        make.make_supervision(assistant, second, kind=SupervisionKind.COVERING.value)
        goals = [give_goal(episode, first, number + 1) for number in range(GOALS)]
        found.append(Writer(token_of(assistant), goals, _held(assistant, episode, visits)))
    return World(found, [token_of(first), token_of(second)])


def _person(organization, role: Role) -> Staff:
    staff = make.make_staff(organization, role)
    SigningPin.objects.create(
        staff=staff, organization_id=organization.pk, hash=HASHER.hash(_keyed(PIN)), changed_at=timezone.now()
    )
    return staff


def _held(staff: Staff, episode: Episode, number: int) -> list[UUID]:
    """So many short visits up to now, in three statements."""
    now, zone = timezone.now(), ZoneInfo(episode.site.time_zone)
    rows = [_rows(staff, episode, now - APART * (place + 2), zone) for place in range(number)]
    Visit.objects.bulk_create(visit for visit, _, _ in rows)
    Booking.objects.bulk_create(booking for _, booking, _ in rows)
    return [part.pk for part in Participation.objects.bulk_create(part for _, _, part in rows)]


def _rows(staff: Staff, episode: Episode, start: datetime, zone: ZoneInfo) -> tuple[Visit, Booking, Participation]:
    ends, organization = start + LONG, episode.organization_id
    times = {"starts_at": start, "ends_at": ends, "service_date": start.astimezone(zone).date()}
    held = {"status": "fulfilled", "organization_id": organization, **times}
    visit = Visit(pk=uuid7(), site=episode.site, kind="treatment", **held)
    booking = Booking(pk=uuid7(), visit=visit, staff=staff, during=(start, ends), organization_id=organization)
    part = Participation(
        pk=uuid7(),
        visit=visit,
        client_id=episode.client_id,
        episode=episode,
        arrived_at=start,
        left_at=ends,
        minutes=3,
        **held,
    )
    return visit, booking, part
