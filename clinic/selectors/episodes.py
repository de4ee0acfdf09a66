"""Reads of episodes of care and of who treats in them, scoped to who asks."""

from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from clinic.enums import EpisodeStatus
from clinic.models import CareTeam, Client, Episode, EpisodeChange, Site
from clinic.models.episodes import OPEN
from clinic.rules.access import Action, Actor
from clinic.selectors.rows import one


def episodes_for(actor: Actor, action: Action = Action.SEE_EPISODES, **equal: Any) -> QuerySet[Episode]:
    """Episodes in her reach, narrowed to these values of their columns."""
    return Episode.objects.visible_to(actor, action).filter(**equal).select_related("site")


def episode_for(actor: Actor, episode_id: UUID, action: Action = Action.SEE_EPISODES, *, lock: bool = False) -> Episode:
    """One episode in reach for this action, or NotFound."""
    return one(episodes_for(actor, action), episode_id, lock=lock)


def episode_exists(episode_id: UUID) -> bool:
    return Episode.objects.filter(pk=episode_id).exists()


def open_in_reach(actor: Actor, *, client: Client, site: Site, setting: str, discipline: str) -> bool:
    """Whether she can see that an episode of this child is open in this setting at this site."""
    rows = Episode.objects.visible_to(actor, Action.SEE_EPISODES).filter(OPEN)
    return rows.filter(client=client, site=site, setting=setting, discipline=discipline).exists()


def last_step_on(episode: Episode) -> date | None:
    """The day from which the present status holds; the plan itself is no step, so a start may lie before it."""
    steps = EpisodeChange.objects.filter(episode=episode).exclude(to_status=EpisodeStatus.PLANNED.value)
    latest = steps.order_by("-effective_on").values_list("effective_on", flat=True).first()
    return latest or episode.opened_on


def care_team_for(
    actor: Actor, action: Action = Action.SEE_EPISODES, *, on: date | None = None, **equal: Any
) -> QuerySet[CareTeam]:
    """Places on the care teams of episodes in reach, on a day or ever."""
    rows: Any = CareTeam.objects.visible_to(actor, action).filter(**equal).select_related("episode")
    return rows.in_force(on) if on else rows


def care_team_exists(row_id: UUID) -> bool:
    return CareTeam.objects.filter(pk=row_id).exists()
