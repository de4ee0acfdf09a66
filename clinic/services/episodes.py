"""What people do to an episode of care: plan it, open it, hold it, end it."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import IntegrityError, transaction

from clinic import outbox
from clinic.enums import CareRole, CareSource, EpisodeStatus, NoticeKind, Setting
from clinic.errors import Conflict, InvalidField, constraint_of
from clinic.models import CareTeam, Client, Episode, EpisodeChange, Site
from clinic.rules import episodes as rules
from clinic.rules.access import Action, Actor, Relation, relations
from clinic.rules.episodes import EpisodeAct
from clinic.selectors import episodes as selectors
from clinic.selectors.actors import today_in
from clinic.selectors.staff import administrators
from clinic.services import notices
from clinic.services.changes import apply_changes
from clinic.services.references import named

TOPICS = {
    EpisodeAct.OPEN: "episode.opened",
    EpisodeAct.HOLD: "episode.held",
    EpisodeAct.RESUME: "episode.resumed",
    EpisodeAct.DISCHARGE: "episode.discharged",
    EpisodeAct.CANCEL: "episode.cancelled",
}


class EpisodeAlreadyOpen(Conflict):
    code = "episode_already_open"
    title = "This child has an open episode in this setting and at this site"


class ActNotAllowed(Conflict):
    code = "act_not_allowed"
    title = "The episode's status does not allow this"


@transaction.atomic
def plan_episode(
    *, actor: Actor, episode_id: UUID, client: UUID, site: UUID, digest: str, now: datetime, **wanted: Any
) -> Episode:
    """Enter a planned episode; its setting decides under which law the record is kept."""
    child = named(Client.objects.visible_to(actor, Action.CHANGE_EPISODES), client, member="client")
    place = named(Site.objects.of(actor), site, member="site")
    episode = Episode(
        pk=episode_id,
        organization_id=actor.organization_id,
        client=child,
        site=place,
        record_regime=rules.record_regime_of(Setting(wanted["setting"])).value,
        created_digest=digest,
        **wanted,
    )
    _enter(actor, episode, now)
    planned_on = episode.referred_on or today_in(place.time_zone, now)
    _record_step(actor, episode, EpisodeStatus.PLANNED, on=planned_on, before="", now=now)
    _join_team(actor, episode)
    outbox.created("episode", episode, client_id=child.pk, episode_id=episode.pk)
    return episode


def _enter(actor: Actor, episode: Episode, now: datetime) -> None:
    """Refuse a second open one to whoever sees the first; another's second stands, and the administrators are told."""
    _refuse_second(actor, episode)
    try:
        with transaction.atomic():
            episode.save(force_insert=True)
    except IntegrityError as exc:
        if constraint_of(exc) != "episode_one_open_per_setting":
            raise
        _refuse_second(actor, episode)  # one of hers may have been entered in this instant
        episode.beside_another = True
        episode.save(force_insert=True)
        _tell_of_second(episode, actor.today, now)


def _refuse_second(actor: Actor, episode: Episode) -> None:
    same = {name: getattr(episode, name) for name in ("client", "site", "setting", "discipline")}
    if selectors.open_in_reach(actor, **same):
        raise EpisodeAlreadyOpen


def _tell_of_second(episode: Episode, today: date, now: datetime) -> None:
    notices.tell(
        organization_id=episode.organization_id,
        recipients=administrators(episode.organization_id, today=today),
        kind=NoticeKind.SECOND_OPEN_EPISODE,
        subject_kind="episode",
        subject_id=episode.pk,
        now=now,
    )


@transaction.atomic
def change_episode(*, actor: Actor, episode: Episode, **wanted: Any) -> Episode:
    """Change the payer, or the days of referral and consent."""
    apply_changes(episode, wanted)
    outbox.changed("episode", episode, client_id=episode.client_id, episode_id=episode.pk)
    return episode


@transaction.atomic
def move_episode(
    *, actor: Actor, episode: Episode, act: EpisodeAct, on: date, now: datetime, reason: str = ""
) -> Episode:
    """Take one step from a day on; refuses a step that the status does not allow, and a day that cannot be."""
    before = EpisodeStatus(episode.status)
    after = rules.status_after(before, act)
    if after is None:
        raise ActNotAllowed(status_now=before.value, allowed_actions=rules.allowed_acts(before))
    today = today_in(episode.site.time_zone, now)
    fault = rules.day_refusal(on, today=today, last_change_on=selectors.last_step_on(episode))
    if fault:
        raise InvalidField("/on", f"The step cannot take effect on {on}: {fault.replace('_', ' ')}", code=fault.value)

    apply_changes(episode, {"status": after.value, **_days(episode, after, on)})
    _record_step(actor, episode, after, on=on, before=before.value, now=now, reason=reason)
    outbox.changed("episode", episode, client_id=episode.client_id, episode_id=episode.pk)
    outbox.record(TOPICS[act], organization_id=episode.organization_id, now=now, episode_id=episode.pk, on=on)
    return episode


def _days(episode: Episode, after: EpisodeStatus, on: date) -> dict[str, date]:
    if after == EpisodeStatus.ACTIVE and episode.opened_on is None:
        return {"opened_on": on}
    return {"closed_on": on} if after in (EpisodeStatus.FINISHED, EpisodeStatus.CANCELLED) else {}


def _record_step(
    actor: Actor, episode: Episode, after: EpisodeStatus, *, on: date, before: str, now: datetime, reason: str = ""
) -> None:
    EpisodeChange.objects.create(
        organization_id=episode.organization_id,
        episode=episode,
        from_status=before,
        to_status=after.value,
        effective_on=on,
        at=now,
        by_id=actor.person,
        reason=reason,
    )


def _join_team(actor: Actor, episode: Episode) -> None:
    """Whoever plans an episode by treating the child stands on its team, or it would be out of her own reach."""
    if Relation.ORGANIZATION in relations(actor, Action.CHANGE_EPISODES):
        return
    place = CareTeam.objects.create(
        organization_id=episode.organization_id,
        episode=episode,
        staff_id=actor.person,
        role=CareRole.TREATING.value,
        source=CareSource.ASSIGNED.value,
        starts_on=actor.today,
    )
    outbox.created("care_team", place, client_id=episode.client_id, episode_id=episode.pk)
