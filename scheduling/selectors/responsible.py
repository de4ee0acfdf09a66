"""Who owes what is due: who wrote or treated, who is to co-sign, which therapist answers for an episode."""

from collections.abc import Sequence
from datetime import date
from uuid import UUID

from django.db import connection

# Whoever wrote a note of this part of the visit, else whoever was booked for it.
AUTHORS = """
SELECT p.id, coalesce(
    (SELECT n.author_id FROM scheduling_participationnote n WHERE n.participation_id = p.id ORDER BY n.id LIMIT 1),
    (SELECT b.staff_id FROM scheduling_booking b
     WHERE b.visit_id = p.visit_id AND b.staff_id IS NOT NULL AND NOT b.superseded ORDER BY b.id LIMIT 1))
FROM scheduling_participation p WHERE p.id = ANY(%s)"""

COSIGNERS = """
SELECT v.id, d.cosign_owner_id FROM clinic_documentversion v JOIN clinic_document d ON d.id = v.document_id
WHERE v.id = ANY(%s)"""

# A therapist on the team answers; else the one who supervises an assistant on it, in the narrowest scope in force.
THERAPISTS = """
SELECT DISTINCT ON (episode_id) episode_id, staff_id FROM (
    SELECT t.episode_id, t.staff_id, 0 AS rank, t.starts_on
    FROM clinic_careteam t JOIN clinic_staffrole r ON r.staff_id = t.staff_id AND r.role = 'therapist'
      AND r.starts_on <= %(day)s AND (r.ends_on IS NULL OR r.ends_on >= %(day)s)
    WHERE t.episode_id = ANY(%(episodes)s) AND t.source = 'assigned'
      AND t.starts_on <= %(day)s AND (t.ends_on IS NULL OR t.ends_on >= %(day)s)
    UNION ALL
    SELECT t.episode_id, s.supervisor_id,
           CASE s.scope WHEN 'episode' THEN 1 WHEN 'site' THEN 2 ELSE 3 END, s.starts_on
    FROM clinic_careteam t
    JOIN clinic_episode e ON e.id = t.episode_id
    JOIN clinic_supervision s ON s.assistant_id = t.staff_id AND s.kind = 'primary'
      AND s.scope_id IN (e.id, e.site_id, e.organization_id)
      AND s.starts_on <= %(day)s AND (s.ends_on IS NULL OR s.ends_on >= %(day)s)
    WHERE t.episode_id = ANY(%(episodes)s)
      AND t.starts_on <= %(day)s AND (t.ends_on IS NULL OR t.ends_on >= %(day)s)) answering
ORDER BY episode_id, rank, starts_on, staff_id"""


def authors_of(participations: Sequence[UUID]) -> dict[UUID, UUID | None]:
    return _pairs(AUTHORS, [list(participations)])


def cosigners_of(versions: Sequence[UUID]) -> dict[UUID, UUID | None]:
    return _pairs(COSIGNERS, [list(versions)])


def therapists_of(episodes: Sequence[UUID], *, day: date) -> dict[UUID, UUID | None]:
    """The therapist who answers for each episode on a day; an episode without one is not among them."""
    return _pairs(THERAPISTS, {"episodes": list(episodes), "day": day})


def _pairs(sql: str, params: object) -> dict[UUID, UUID | None]:
    with connection.cursor() as cursor:
        cursor.execute(sql, params)  # type: ignore[arg-type]
        return dict(cursor.fetchall())
