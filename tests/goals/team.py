"""An invented team around one child, and goals as they are put over HTTP."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from rest_framework.test import APIClient

from clinic.enums import Role
from clinic.models import Client, Episode, Organization, Site, Staff
from goals.services import progress
from tests import factories as make

BASELINE_DAY = date(2026, 2, 24)
VISIT_DAYS = [date(2026, 3, day) for day in (3, 10, 17, 24, 31)]
AFTER = make.at("2026-04-01 09:00")


@dataclass(frozen=True)
class Team:
    """One child's episode, the assistant who treats in it, and the therapist who answers for her."""

    organization: Organization
    site: Site
    child: Client
    episode: Episode
    assistant: Staff
    therapist: Staff


def make_team(**over: Any) -> Team:
    organization = make.make_organization(**over)
    site = make.make_site(organization)
    child = make.make_client(site)
    episode = make.make_episode(child)
    assistant = make.make_staff(organization, Role.ASSISTANT)
    therapist = make.make_staff(organization, Role.THERAPIST)
    make.put_on_team(assistant, episode)
    make.make_supervision(assistant, therapist)
    return Team(organization, site, child, episode, assistant, therapist)


def clause(component: str, comparison: str, value: str, **rest: Any) -> dict[str, Any]:
    return {"component": component, "comparison": comparison, "value": value, **rest}


def criterion(*clauses: dict[str, Any], **rest: Any) -> dict[str, Any]:
    """A criterion of these clauses, the first one primary, over one visit unless told otherwise."""
    first, *others = clauses
    marked = [{**first, "primary": True}, *({**other, "primary": False} for other in others)]
    return {"clauses": marked, "consistency": {"kind": "in_a_row", "k": 1}, **rest}


def of_last(k: int, m: int) -> dict[str, Any]:
    return {"kind": "of_last", "k": k, "m": m}


def in_a_row(k: int) -> dict[str, Any]:
    return {"kind": "in_a_row", "k": k}


def goal_body(team: Team, **over: Any) -> dict[str, Any]:
    """A proposal: eight of ten, three of the last four visits."""
    eight_of_ten = clause("accuracy", "at_least", "0.8")
    return {
        "episode": str(team.episode.pk),
        "text": "Fastens four vest buttons",
        "purpose": "improve",
        "direction": "increase",
        "measure": {"kind": "accuracy"},
        "baseline_starts_on": BASELINE_DAY.isoformat(),
        "intervention_starts_on": VISIT_DAYS[0].isoformat(),
        "criterion": criterion(eight_of_ten, consistency=of_last(3, 4), minimum_data={"trials": 10}),
        **over,
    }


def propose(api: APIClient, body: dict[str, Any], goal_id: str | None = None) -> Any:
    return api.put(f"/api/v1/goals/{goal_id or make.new_id()}/", body, format="json")


def make_goal(team: Team, **over: Any) -> str:
    """The id of a goal put by the assistant."""
    answer = propose(make.signed_in(team.assistant), goal_body(team, **over))
    assert answer.status_code == 201, answer.content
    return answer.json()["id"]


def make_note(team: Team, goal_id: str, day: date, *sheets: dict[str, Any], **over: Any) -> Any:
    """A signed note with one measurement for each sheet."""
    raws = [{"goal": goal_id, "slot": slot, **sheet} for slot, sheet in enumerate(sheets, start=1)]
    return make.make_signed_note(team.assistant, team.episode, service_date=day, measurements=raws, **over)


def recompute(*documents: Any) -> None:
    for document in documents:
        progress.recompute_of_document(document.pk, now=AFTER)
