"""A small practice whose visits wait for their notes: an assistant, her supervisor, a child with five goals."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

import orjson
from django.utils import timezone
from uuid_utils.compat import uuid7

from clinic.enums import CareSource, Role
from clinic.models import CareTeam, Episode, SigningPin, Staff
from clinic.services.pins import HASHER, _keyed
from goals.models import Clause, Goal, GoalPhase
from scheduling.models import Booking, Participation, Visit
from tests import factories as make

PIN = "580213"
BASE = date(2026, 1, 5)


@dataclass(frozen=True)
class World:
    """Who writes, who answers for her, and what is treated."""

    assistant: Staff
    supervisor: Staff
    episode: Episode
    goals: list[UUID]


def made(*, goals: int = 5) -> World:
    organization = make.make_organization()
    site = make.make_site(organization)
    episode = make.make_episode(make.make_client(site))
    assistant = make.make_staff(organization, Role.ASSISTANT, printed_name="Ana Brandt")
    supervisor = make.make_staff(organization, Role.THERAPIST, printed_name="Ruth Imber")
    for person in (assistant, supervisor):
        make.put_on_team(person, episode)
        make.make_credential(person, number=person.pk.hex[-12:])
    make.make_supervision(assistant, supervisor)
    _give_pin(assistant)
    return World(
        assistant, supervisor, episode, [give_goal(episode, supervisor, number + 1) for number in range(goals)]
    )


def _give_pin(staff: Staff) -> None:
    SigningPin.objects.create(
        staff=staff, organization_id=staff.organization_id, hash=HASHER.hash(_keyed(PIN)), changed_at=timezone.now()
    )


def give_goal(episode: Episode, therapist: Staff, number: int) -> UUID:
    """At least 8 of 10 in three of the last four visits."""
    own = {"organization_id": episode.organization_id}
    goal = Goal.objects.create(
        episode=episode,
        client_id=episode.client_id,
        number=number,
        text="fastens vest buttons",
        purpose="improve",
        direction="increase",
        measure="accuracy",
        lifecycle="active",
        starts_on=BASE,
        proposed_by=therapist,
        **own,
    )
    phase = GoalPhase.objects.create(
        goal=goal,
        ordinal=1,
        kind="intervention",
        starts_on=make.LONG_AGO,
        consistency="of_last",
        needed=3,
        window=4,
        written_by=therapist,
        written_at=timezone.now(),
        **own,
    )
    Clause.objects.create(
        phase=phase, ordinal=1, component="accuracy", comparison="at_least", value="8/10", primary=True, **own
    )
    return goal.pk


def visits(world: World, number: int) -> list[UUID]:
    """So many short visits that took place up to now; answers the child's part in each."""
    now = timezone.now()
    return [_visit(world, now - timedelta(minutes=4 * place + 5)) for place in range(number)]


def _visit(world: World, start: datetime) -> UUID:
    own = {"organization_id": world.episode.organization_id}
    ends, day = start + timedelta(minutes=3), start.astimezone(ZoneInfo(world.episode.site.time_zone)).date()
    times = {"starts_at": start, "ends_at": ends, "service_date": day}
    visit = Visit.objects.create(site=world.episode.site, kind="treatment", status="fulfilled", **times, **own)
    Booking.objects.create(visit=visit, staff=world.assistant, during=(start, ends), **own)
    CareTeam.objects.create(
        episode=world.episode,
        staff=world.assistant,
        starts_on=day - timedelta(days=7),
        source=CareSource.BOOKING.value,
        source_id=visit.pk,
        **own,
    )
    return Participation.objects.create(
        visit=visit,
        client_id=world.episode.client_id,
        episode=world.episode,
        status="fulfilled",
        arrived_at=start,
        left_at=ends,
        minutes=3,
        **times,
        **own,
    ).pk


def body_of(part: UUID, goals: list[UUID], *, successes: int) -> bytes:
    """A note as an app sends it, with one measurement of each goal."""
    return orjson.dumps(
        {
            "participation": str(part),
            "subjective": "Mother reports that dressing went faster this week.",
            "objective": "Buttoned a vest at the table, seated.",
            "assessment": "",
            "plan": "Go on with the large buttons.",
            "activities": [{"name": "Vest on a stand", "minutes": 15}],
            "minutes": 45,
            "measurements": [{"goal": str(goal), "successes": successes, "opportunities": 10} for goal in goals],
        }
    )


def sign_body() -> bytes:
    return orjson.dumps({"pin": PIN})


def new_key() -> str:
    return str(uuid7())
