"""A booking puts its clinicians on the children's care teams, and takes them off again; the feed tells both."""

from collections.abc import Collection
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.db import connection, transaction

from clinic.enums import CareSource, ChangeKind
from clinic.models import CareTeam, Organization
from scheduling.models import Visit

TELL = """
INSERT INTO clinic_changefeed (organization_id, kind, record_kind, record_id, client_id, episode_id)
SELECT place.organization_id, %s, 'care_team', place.id, episode.client_id, episode.id
FROM clinic_careteam place JOIN clinic_episode episode ON episode.id = place.episode_id
WHERE place.id = ANY(%s)"""
END = """
WITH ended AS (
    UPDATE clinic_careteam place SET ends_on = %(on)s, version = place.version + 1
    FROM clinic_episode episode
    WHERE place.source_id = %(source)s AND place.ends_on IS NULL AND place.starts_on <= %(on)s
      AND episode.id = place.episode_id
      AND (%(episodes)s::uuid[] IS NULL OR place.episode_id = ANY(%(episodes)s))
      AND (%(staff)s::uuid[] IS NULL OR place.staff_id = ANY(%(staff)s))
    RETURNING place.organization_id, place.id, episode.client_id, place.episode_id)
INSERT INTO clinic_changefeed (organization_id, kind, record_kind, record_id, client_id, episode_id)
SELECT organization_id, 'changed', 'care_team', id, client_id, episode_id FROM ended"""


@transaction.atomic(savepoint=False)
def put_on_care_teams(visit: Visit, *, episodes: Collection[UUID], staff: Collection[UUID]) -> None:
    """A booking puts its clinicians in reach of the child, from some days before until the note is signed."""
    days = Organization.objects.values_list("care_team_days_before_booking", flat=True).get(pk=visit.organization_id)
    starts_on = visit.service_date - timedelta(days=days)
    held = list(CareTeam.objects.filter(source_id=visit.pk, episode_id__in=episodes, staff_id__in=staff))
    for place in held:
        place.starts_on, place.ends_on, place.version = starts_on, None, place.version + 1
    CareTeam.objects.bulk_update(held, ["starts_on", "ends_on", "version"])
    known = {(place.episode_id, place.staff_id) for place in held}
    made = CareTeam.objects.bulk_create(
        CareTeam(
            organization_id=visit.organization_id,
            episode_id=episode_id,
            staff_id=staff_id,
            starts_on=starts_on,
            source=CareSource.BOOKING.value,
            source_id=visit.pk,
        )
        for episode_id in episodes
        for staff_id in staff
        if (episode_id, staff_id) not in known
    )
    _tell(ChangeKind.CHANGED, held)
    _tell(ChangeKind.CREATED, made)


def _tell(kind: ChangeKind, places: list[CareTeam]) -> None:
    if places:
        with connection.cursor() as cursor:
            cursor.execute(TELL, [kind.value, [place.pk for place in places]])


@transaction.atomic(savepoint=False)
def leave_care_teams(visit: Visit, today: date, *, episode_id: UUID | None = None) -> None:
    """End what this booking gave; a place that had not begun yet is taken back."""
    rows = CareTeam.objects.filter(source_id=visit.pk, ends_on__isnull=True)
    if episode_id is not None:
        rows = rows.filter(episode_id=episode_id)
    rows.filter(starts_on__gt=today).delete()
    end_places(visit.pk, on=today, episodes=None if episode_id is None else [episode_id])


def end_places(
    visit_id: UUID, *, on: date, episodes: Collection[UUID] | None = None, staff: Collection[UUID] | None = None
) -> None:
    """These places that a booking gave end with this day: all of them, or those of these episodes and this staff."""
    asked: dict[str, Any] = {
        "on": on,
        "source": visit_id,
        "episodes": None if episodes is None else list(episodes),
        "staff": None if staff is None else list(staff),
    }
    with connection.cursor() as cursor:
        cursor.execute(END, asked)


@transaction.atomic(savepoint=False)
def end_reach_of_booking(*, visit: Visit, episode_id: UUID, staff_id: UUID, today: date) -> None:
    """The note is signed: what the booking gave its author ends with this day."""
    end_places(visit.pk, on=today, episodes=[episode_id], staff=[staff_id])
