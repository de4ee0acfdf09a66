"""One small invented clinic: its people, one child, one episode, one goal. Every name is made up."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from clinic.enums import DocumentState
from clinic.models import Document, Organization
from clinic.services.beginnings import begin_organization, give_login
from scheduling.demonstration.browser import Browser

SPACE = UUID("0198a1f0-0000-7000-8000-00000000d3a0")
ORGANIZATION = uuid5(SPACE, "organization")
NAME = "Alder Yard Children's Therapy"
ZONE = "America/Chicago"
PASSWORD = "alder-yard-demonstration"  # noqa: S105
PIN = "580213"
VISITS_BEFORE = 5
LAST_NOTE = "note 4"


def named(what: str) -> str:
    """The same id for the same thing, each time the story is told."""
    return str(uuid5(SPACE, what))


@dataclass(frozen=True)
class People:
    """Who takes part, each in a session of her own."""

    administrator: Browser
    supervisor: Browser
    assistant: Browser


def has_begun() -> bool:
    return Organization.objects.filter(pk=ORGANIZATION).exists()


def has_ended() -> bool:
    """Was it told as far as the co-signature, after which nothing is written?"""
    return Document.objects.filter(pk=named(LAST_NOTE), state=DocumentState.COSIGNED.value).exists()


def begin(today: date) -> None:
    begin_organization(
        organization_id=ORGANIZATION,
        name=NAME,
        time_zone=ZONE,
        country="US",
        subdivision="IL",
        administrator="Ida Quist",
        username="ida",
        password=PASSWORD,
        today=today - timedelta(days=400),
    )


def staff_up(address: str, today: date) -> People:
    """The administrator enters a supervising therapist and an assistant; each then sets her signing PIN."""
    ida = Browser(address, "ida", PASSWORD)
    since = str(today - timedelta(days=400))
    for who, name, role, letters in (
        ("ruth", "Ruth Imber", "therapist", "OT"),
        ("ana", "Ana Brandt", "assistant", "OTA"),
    ):
        ida.put(f"/staff/{named(who)}/", {"printed_name": name, "joined_on": since})
        ida.put(f"/staff-roles/{named(who + ' role')}/", {"staff": named(who), "role": role, "starts_on": since})
        ida.put(
            f"/credentials/{named(who + ' licence')}/",
            {
                "staff": named(who),
                "kind": "licence",
                "abbreviation": letters,
                "jurisdiction": "US-IL",
                "number": f"EX-{role[:3].upper()}-0417",
                "starts_on": since,
            },
        )
        give_login(staff_id=UUID(named(who)), username=who, password=PASSWORD)
    ida.put(
        f"/supervisions/{named('supervision')}/",
        {
            "assistant": named("ana"),
            "supervisor": named("ruth"),
            "kind": "primary",
            "scope": "organization",
            "starts_on": since,
        },
    )
    people = People(ida, Browser(address, "ruth", PASSWORD), Browser(address, "ana", PASSWORD))
    for person in (people.supervisor, people.assistant):
        person.act("/me/pin/", {"password": PASSWORD, "pin": PIN})
    return people


def site(people: People) -> str:
    return people.administrator.get("/sites/")["results"][0]["id"]


def enrol(people: People, today: date) -> None:
    """A child, her episode of care, and who treats in it."""
    ida, opened = people.administrator, str(today - timedelta(days=60))
    ida.put(
        f"/clients/{named('child')}/",
        {
            "home_site": site(people),
            "given_name": "Mirela",
            "family_name": "Oduya",
            "birth_date": str(date(today.year - 5, 5, 17)),
        },
    )
    ida.put(
        f"/episodes/{named('episode')}/",
        {
            "client": named("child"),
            "site": site(people),
            "setting": "outpatient",
            "jurisdiction": "US-IL",
            "payer": "Larkfield Example Plan",
            "referred_on": opened,
            "consented_on": opened,
        },
    )
    path = f"/episodes/{named('episode')}/"
    ida.act(f"{path}open/", {"on": opened}, on=path)
    for who in ("ruth", "ana"):
        ida.put(
            f"/care-team/{named(who + ' on the team')}/",
            {"episode": named("episode"), "staff": named(who), "role": "treating", "starts_on": opened},
        )


def first_day(today: date) -> date:
    """The Monday so many weeks before this week's: visits are weekly, the last one lies in the week before this."""
    return today - timedelta(days=today.weekday(), weeks=VISITS_BEFORE)


def visit_days(today: date) -> list[date]:
    return [first_day(today) + timedelta(weeks=week) for week in range(VISITS_BEFORE)]


def at(day: date, hour: int, minute: int = 0) -> str:
    return datetime(day.year, day.month, day.day, hour, minute, tzinfo=ZoneInfo(ZONE)).isoformat()
