"""A visit as it was asked for: every name in it found in the asker's reach, and held against the rules of booking."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from uuid_utils.compat import uuid7

from clinic.enums import EpisodeStatus
from clinic.errors import InvalidField, RuleForbids
from clinic.models import Episode, Room, Site, Staff
from clinic.rules.access import Action, Actor
from clinic.selectors.cosigning import supervision_of
from goals.models import Goal
from scheduling.enums import VisitKind, VisitMode
from scheduling.rules import visits as rules
from scheduling.selectors import visits as selectors
from scheduling.services.planned import goals_to_plan


@dataclass(frozen=True)
class Place:
    """One child in the visit asked for, with her own times, and what is planned for her where that was said."""

    participation_id: UUID
    episode: Episode
    starts_at: datetime
    ends_at: datetime
    goals: list[Goal] | None


@dataclass(frozen=True)
class Wanted:
    """A visit as it was asked for, every name in it found in the asker's reach."""

    site: Site
    kind: VisitKind
    mode: VisitMode
    place: str
    starts_at: datetime
    ends_at: datetime
    staff: list[Staff]
    rooms: list[Room]
    children: list[Place]

    @property
    def service_date(self) -> date:
        return rules.service_date_of(self.starts_at, self.site.time_zone)

    @property
    def staff_ids(self) -> list[UUID]:
        return [person.pk for person in self.staff]

    @property
    def episode_ids(self) -> list[UUID]:
        return [child.episode.pk for child in self.children]


def wanted_of(actor: Actor, asked: dict[str, Any]) -> Wanted:
    site = selectors.sites_in(actor, [asked["site"]]).get(asked["site"])
    if site is None:
        raise InvalidField("/site", "There is no such site in your reach", code="not_found")
    if asked["ends_at"] <= asked["starts_at"]:
        raise InvalidField("/ends_at", "A visit ends after it starts", code="ends_before_start")
    if (asked["ends_at"] - asked["starts_at"]).total_seconds() > 12 * 3600:
        raise InvalidField("/ends_at", "A visit takes at most twelve hours", code="too_long")
    return Wanted(
        site=site,
        kind=VisitKind(asked["kind"]),
        mode=VisitMode(asked.get("mode", VisitMode.IN_PERSON.value)),
        place=asked.get("place", ""),
        starts_at=asked["starts_at"],
        ends_at=asked["ends_at"],
        staff=_found(selectors.staff_in(actor, asked["staff"]), asked["staff"], "/staff"),
        rooms=_rooms(actor, site, asked.get("rooms", [])),
        children=_children(actor, asked, site),
    )


def _found(rows: dict[UUID, Any], ids: list[UUID], pointer: str) -> list[Any]:
    for index, row_id in enumerate(ids):
        if row_id not in rows:
            raise InvalidField(f"{pointer}/{index}", "There is no such row in your reach", code="not_found")
        if row_id in ids[:index]:
            raise InvalidField(f"{pointer}/{index}", "This stands twice", code="doubled")
    return [rows[row_id] for row_id in ids]


def _rooms(actor: Actor, site: Site, ids: list[UUID]) -> list[Room]:
    rooms = _found(selectors.rooms_in(actor, ids), ids, "/rooms")
    for index, room in enumerate(rooms):
        if room.site_id != site.pk:
            raise InvalidField(f"/rooms/{index}", "This room is at another site", code="another_site")
    return rooms


def _children(actor: Actor, asked: dict[str, Any], site: Site) -> list[Place]:
    day = rules.service_date_of(asked["starts_at"], site.time_zone)
    ids = [child["episode"] for child in asked["children"]]
    episodes = selectors.episodes_in(actor, ids, Action.BOOK_VISITS)
    found: list[Place] = []
    for index, child in enumerate(asked["children"]):
        episode = episodes.get(child["episode"])
        if episode is None:
            raise InvalidField(f"/children/{index}/episode", "There is no such episode in your reach", code="not_found")
        if episode.client_id in {place.episode.client_id for place in found}:
            raise InvalidField(f"/children/{index}/episode", "This child is in the visit already", code="doubled")
        if day < episode.client.birth_date:
            raise InvalidField("/starts_at", "The child was not born yet on that day", code="before_birth")
        starts, ends = child.get("starts_at", asked["starts_at"]), child.get("ends_at", asked["ends_at"])
        if not asked["starts_at"] <= starts < ends <= asked["ends_at"]:
            raise InvalidField(f"/children/{index}/starts_at", "Her times lie within the visit's", code="outside_visit")
        goals = None
        if "goals" in child:
            goals = goals_to_plan(actor, episode.pk, child["goals"], pointer=f"/children/{index}/goals")
        found.append(Place(child.get("id") or uuid7(), episode, starts, ends, goals))
    return found


def refuse_by_rule(actor: Actor, wanted: Wanted, now: datetime) -> None:
    """What is refused ahead. The record of what took place is never refused for want of a right or a rule."""
    ahead = wanted.starts_at > now
    refusal = rules.children_refusal(wanted.kind, len(wanted.children), ahead=ahead)
    if refusal:
        raise RuleForbids(rules.TOLD[refusal], code=refusal.value, pointer="/children")
    if not ahead:
        return
    if wanted.starts_at - now > rules.LONGEST_AHEAD:
        raise InvalidField("/starts_at", "A visit is booked at most two years ahead", code="too_far_ahead")
    for index, child in enumerate(wanted.children):
        closed = child.episode.status in (EpisodeStatus.FINISHED.value, EpisodeStatus.CANCELLED.value)
        if closed:
            raise RuleForbids("This episode is closed", code="episode_closed", pointer=f"/children/{index}/episode")
    day = wanted.service_date
    roles = selectors.roles_on(wanted.staff_ids, day)
    for index, person in enumerate(wanted.staff):
        supervised = all(
            supervision_of(person.pk, child.episode, today=actor.today).in_force(day) for child in wanted.children
        )
        refusal = rules.clinician_refusal(wanted.kind, roles=roles[person.pk], supervised=supervised)
        if refusal:
            raise RuleForbids(rules.TOLD[refusal], code=refusal.value, pointer=f"/staff/{index}")
