"""One child's record, and nine who knock at each door: who may, who may not, and who must not even learn of it."""

from dataclasses import dataclass
from datetime import timedelta
from functools import cache
from typing import Any

from django.contrib.auth.hashers import make_password
from django.utils import timezone
from oauth2_provider.models import AccessToken, Application
from rest_framework.test import APIClient

from clinic import models as c
from clinic.enums import Role
from clinic.rules.access import SYSTEM_ACTIONS
from clinic.services import pins
from tests import factories as make
from tests.architecture.world import World

PRINCIPALS = (
    "assistant",  # on the child's care team
    "off_team",  # an assistant of the same organization, on another child's
    "supervisor",  # answers for the first assistant, everywhere in the organization
    "elsewhere",  # a therapist of the same organization, who treats another child and answers for nobody
    "administrator",
    "front_desk",
    "system",  # client credentials, bound to every action that a system may have
    "stranger",  # another organization's administrator
    "anonymous",
)
PASSWORD, PIN = "a long phrase of her own", "580213"


class Callers(dict[str, APIClient]):
    """A client of the API for each principal, signed in when she is first asked for: most tests ask for one or two."""

    def __init__(self, organization: c.Organization, people: dict[str, c.Staff]) -> None:
        super().__init__()
        self._organization = organization
        self._people = people

    def __missing__(self, name: str) -> APIClient:
        self[name] = self._let_in(name)
        self[name].handler = shared_handler()
        return self[name]

    def _let_in(self, name: str) -> APIClient:
        if name == "anonymous":
            return APIClient()
        return make_system(self._organization) if name == "system" else make.signed_in(self._people[name])


@dataclass
class Clinic:
    """The rows by name for whoever makes more of them, and a client of the API for each principal."""

    raw: World
    callers: dict[str, APIClient]
    people: dict[str, c.Staff]
    child: c.Client
    episode: c.Episode


def make_clinic() -> Clinic:
    organization = make.make_organization()
    site = make.make_site(organization)
    child = make.make_client(site)
    episode = make.make_episode(child)
    people = make_people(organization, site, episode)
    for staff in people.values():
        let_in(staff)
    callers = Callers(organization, people)
    raw = seeded(organization, site, child, episode, people)
    return Clinic(raw=raw, callers=callers, people=people, child=child, episode=episode)


def let_in(staff: c.Staff) -> None:
    """Her password, her mail address and her signing PIN."""
    staff.user.password = kept_password()
    staff.user.email = "somebody@people.example"
    staff.user.save()
    c.SigningPin.objects.create(
        staff=staff, organization_id=staff.organization_id, hash=kept_pin(), changed_at=timezone.now()
    )


@cache
def shared_handler() -> Any:
    """One stack of middleware for all: each would list the static files anew."""
    return APIClient().handler


@cache
def kept_password() -> str:
    """Hashed once for everybody: to hash it for each person of each clinic took most of a run."""
    return make_password(PASSWORD)


@cache
def kept_pin() -> str:
    return pins.HASHER.hash(pins._keyed(PIN))


def make_people(organization: c.Organization, site: c.Site, episode: c.Episode) -> dict[str, c.Staff]:
    roles = {
        "assistant": Role.ASSISTANT,
        "off_team": Role.ASSISTANT,
        "supervisor": Role.THERAPIST,
        "elsewhere": Role.THERAPIST,
        "administrator": Role.ADMINISTRATOR,
        "front_desk": Role.FRONT_DESK,
    }
    people = {name: make.make_staff(organization, role) for name, role in roles.items()}
    another = make.make_episode(make.make_client(site, given_name="Ilo"))
    make.put_on_team(people["assistant"], episode)
    make.put_on_team(people["off_team"], another)
    make.put_on_team(people["elsewhere"], another)
    make.make_supervision(people["assistant"], people["supervisor"])
    foreign = make.make_organization(name="Elsewhere")
    make.make_client(make.make_site(foreign))
    return {**people, "stranger": make.make_staff(foreign, Role.ADMINISTRATOR)}


def make_system(organization: c.Organization) -> APIClient:
    """Its token as the token endpoint would have given it."""
    client_id, token = f"timetable-{make.new_id()}", f"token-{make.new_id()}"
    application = Application.objects.create(
        client_id=client_id, client_type="confidential", authorization_grant_type="client-credentials"
    )
    c.SystemPrincipal.objects.create(
        organization=organization,
        application_client_id=client_id,
        name="Timetable",
        actions=sorted(SYSTEM_ACTIONS),
        starts_on=make.LONG_AGO,
    )
    AccessToken.objects.create(
        application=application,
        token=token,
        scope=" ".join(sorted(SYSTEM_ACTIONS)),
        expires=timezone.now() + timedelta(minutes=15),
    )
    api = APIClient()
    api.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    return api


def seeded(organization: Any, site: Any, child: Any, episode: Any, people: dict[str, c.Staff]) -> World:
    """A world of raw rows whose `one` of each of these is the clinic's own."""
    raw = World()
    raw.rows |= {(type(row), "one"): row.pk for row in (organization, site, child, episode, people["assistant"])}
    raw.rows |= {
        (model, "one"): model.objects.get(**mine).pk
        for model, mine in (
            (c.CareTeam, {"staff": people["assistant"]}),
            (c.StaffRole, {"staff": people["assistant"]}),
            (c.Supervision, {"assistant": people["assistant"]}),
            (c.SigningPin, {"staff": people["assistant"]}),
        )
    }
    raw.rows |= {(c.Staff, "supervisor"): people["supervisor"].pk, (c.Staff, "successor"): people["supervisor"].pk}
    return raw
