"""Who treats in an episode: reach rests on these rows."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from clinic import outbox
from clinic.enums import CareSource, GivenRight, Role
from clinic.errors import Conflict, constraint_as_error
from clinic.models import CareTeam
from clinic.rules.access import Action, Actor, Relation, relations
from clinic.selectors import episodes as selectors
from clinic.selectors import staff as staff_selectors
from clinic.selectors.carers import caring_in
from clinic.services.periods import require_at_work, require_role, set_end
from clinic.services.references import named
from clinic.services.self_given_rights import gives_more, tell_if_self_given

TREATING_ROLES = (Role.ASSISTANT, Role.THERAPIST)


class CareTeamOverlaps(Conflict):
    code = "care_team_overlaps"
    title = "This person stands on the care team on some of these days already"


class MadeByBooking(Conflict):
    code = "made_by_booking"
    title = "A booking put her on the care team: change the booking"


OVERLAPS = {"care_team_assigned_no_overlap": CareTeamOverlaps}


@transaction.atomic
def put_on_team(
    *,
    actor: Actor,
    row_id: UUID,
    episode: UUID,
    staff: UUID,
    starts_on: date,
    digest: str,
    now: datetime,
    **wanted: Any,
) -> CareTeam:
    """Put an assistant or a therapist on an episode's care team."""
    treated = named(selectors.episodes_for(actor, Action.CHANGE_CARE_TEAM), episode, member="episode")
    person = named(staff_selectors.colleagues(actor), staff, member="staff", lock=True)
    require_role(person, TREATING_ROLES, on=starts_on, member="staff")
    require_at_work(person, starts_on=starts_on, ends_on=wanted.get("ends_on"))
    with constraint_as_error(OVERLAPS):
        place = CareTeam.objects.create(
            pk=row_id,
            organization_id=actor.organization_id,
            episode=treated,
            staff=person,
            starts_on=starts_on,
            created_digest=digest,
            **wanted,
        )
    outbox.created("care_team", place, client_id=treated.client_id, episode_id=treated.pk)
    _tell_if_self_given(actor, place, now)
    return place


@transaction.atomic
def end_on_team(*, actor: Actor, place: CareTeam, ends_on: date | None, now: datetime) -> CareTeam:
    """Set the last day of a place on a care team; one that a booking made follows the booking."""
    if place.source == CareSource.BOOKING:
        raise MadeByBooking
    person = named(staff_selectors.colleagues(actor), place.staff_id, member="staff", lock=True)
    require_at_work(person, starts_on=place.starts_on, ends_on=ends_on)
    longer = gives_more(place.ends_on, ends_on)
    set_end(place, ends_on, overlaps=OVERLAPS)
    outbox.changed("care_team", place, client_id=place.episode.client_id, episode_id=place.episode_id)
    if longer:
        _tell_if_self_given(actor, place, now)
    return place


def _tell_if_self_given(actor: Actor, place: CareTeam, now: datetime) -> None:
    """Told of whoever administers; a therapist who joins a team reaches the episode already."""
    if Relation.ORGANIZATION not in relations(actor, Action.CHANGE_CARE_TEAM):
        return
    tell_if_self_given(
        actor=actor,
        receiver=place.staff_id,
        kind=GivenRight.CARE_TEAM,
        subject_id=place.pk,
        now=now,
        concerned=caring_in(place.episode_id, today=actor.today),
        episode=place.episode,
    )
