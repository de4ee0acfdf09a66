"""What the record says today that clocks count: visits held, notes signed, plans treated and certified."""

from collections.abc import Sequence
from datetime import date
from typing import Any, NamedTuple
from uuid import UUID

from django.db import connection

from clinic.enums import DocumentState
from scheduling.enums import FactKind, SubjectKind, VisitKind, VisitStatus

# A consultation is without the child, and a training is the contact's: neither is a day of treatment.
WITHOUT_TREATMENT = (VisitKind.CONSULTATION.value, VisitKind.CONTACT_TRAINING.value)
EVALUATIONS = (VisitKind.EVALUATION.value, VisitKind.RE_EVALUATION.value)

TRUE_TODAY = """
WITH held AS (
    SELECT p.id, p.episode_id, p.service_date, v.kind
    FROM scheduling_participation p JOIN scheduling_visit v ON v.id = p.visit_id
    WHERE p.episode_id = ANY(%(episodes)s) AND p.status = %(fulfilled)s),
signed AS (
    SELECT d.id AS document_id, d.episode_id, d.requires_cosignature, n.id AS version_id, n.number,
           (n.frozen_at AT TIME ZONE s.time_zone)::date AS signed_on, s.time_zone, w.participation_id
    FROM clinic_document d
    JOIN clinic_documentversion n ON n.document_id = d.id
    JOIN clinic_episode e ON e.id = d.episode_id
    JOIN clinic_site s ON s.id = e.site_id
    LEFT JOIN scheduling_participationnote w ON w.document_id = d.id
    WHERE d.episode_id = ANY(%(episodes)s) AND d.state <> %(in_error)s),
period AS (
    SELECT pp.id, pp.episode_id, pp.ends_on,
           (SELECT min(h.service_date) FROM held h WHERE h.episode_id = pp.episode_id
            AND h.service_date BETWEEN pp.starts_on AND pp.ends_on AND h.kind <> ALL(%(without)s)) AS treated_on,
           lead(pp.id) OVER (PARTITION BY pp.episode_id ORDER BY pp.starts_on) AS next_id
    FROM goals_planperiod pp WHERE pp.episode_id = ANY(%(episodes)s)),
certified AS (
    SELECT DISTINCT ON (c.plan_period_id) c.id, c.plan_period_id, c.signed_on
    FROM goals_certification c WHERE c.plan_period_id IN (SELECT id FROM period) AND c.signed_on IS NOT NULL
    ORDER BY c.plan_period_id, c.signed_on, c.id),
found (kind, subject_kind, subject_id, episode_id, occurred_on, covers_until, source_id) AS (
    SELECT %(visit_held)s, %(participation)s, id, episode_id, service_date, service_date, id FROM held
    UNION ALL SELECT %(treatment_day)s, %(episode)s, episode_id, episode_id, service_date, service_date, id
    FROM held WHERE kind <> ALL(%(without)s)
    UNION ALL SELECT %(evaluated)s, %(episode)s, episode_id, episode_id, service_date, service_date, id
    FROM held WHERE kind = ANY(%(evaluations)s)
    UNION ALL SELECT %(note_signed)s, %(participation)s, participation_id, episode_id, signed_on, signed_on, version_id
    FROM signed WHERE number = 1 AND participation_id IS NOT NULL
    UNION ALL SELECT %(cosignature_asked)s, %(version)s, version_id, episode_id, signed_on, signed_on, version_id
    FROM signed WHERE requires_cosignature
    UNION ALL SELECT %(cosignature_decided)s, %(version)s, g.version_id, g.episode_id, v.day, v.day, g.version_id
    FROM signed g JOIN clinic_verdict verdict ON verdict.version_id = g.version_id
    CROSS JOIN LATERAL (SELECT (verdict.at AT TIME ZONE g.time_zone)::date AS day) v WHERE g.requires_cosignature
    UNION ALL SELECT %(plan_treated)s, %(plan_period)s, id, episode_id, treated_on, ends_on, id
    FROM period WHERE treated_on IS NOT NULL
    UNION ALL SELECT %(certified)s, %(plan_period)s, period.id, episode_id, c.signed_on, c.signed_on, c.id
    FROM period JOIN certified c ON c.plan_period_id = period.id
    UNION ALL SELECT %(recertified)s, %(plan_period)s, period.id, episode_id, c.signed_on, c.signed_on, c.id
    FROM period JOIN certified c ON c.plan_period_id = period.next_id
    UNION ALL SELECT %(report_day_set)s, %(episode)s, e.id, e.id, greatest(r.starts_on, e.opened_on), r.ends_on, r.id
    FROM clinic_episode e JOIN scheduling_reportingperiod r ON r.site_id = e.site_id
    WHERE e.id = ANY(%(episodes)s) AND e.opened_on IS NOT NULL AND r.ends_on >= e.opened_on
    UNION ALL SELECT %(service_ended)s, ended.kind, ended.id, e.id, e.closed_on, e.closed_on, e.id
    FROM clinic_episode e
    CROSS JOIN LATERAL (
        SELECT %(episode)s AS kind, e.id UNION ALL SELECT %(plan_period)s, period.id FROM period
        WHERE period.episode_id = e.id) ended
    WHERE e.id = ANY(%(episodes)s) AND e.closed_on IS NOT NULL)"""

NEW = f"""{TRUE_TODAY}
SELECT e.organization_id, e.client_id, found.* FROM found JOIN clinic_episode e ON e.id = found.episode_id
WHERE NOT EXISTS (
    SELECT 1 FROM scheduling_fact f
    WHERE f.source_id = found.source_id AND f.kind = found.kind AND f.subject_id = found.subject_id
      AND f.revoked_at IS NULL)
ORDER BY found.occurred_on, found.kind, found.source_id"""  # noqa: S608

GONE = f"""{TRUE_TODAY}
SELECT f.id FROM scheduling_fact f
WHERE f.episode_id = ANY(%(episodes)s) AND f.revoked_at IS NULL AND NOT EXISTS (
    SELECT 1 FROM found
    WHERE found.source_id = f.source_id AND found.kind = f.kind AND found.subject_id = f.subject_id
      AND found.occurred_on = f.occurred_on AND found.covers_until = f.covers_until)"""  # noqa: S608


class Found(NamedTuple):
    """One fact that the record says and no row says yet."""

    organization_id: UUID
    client_id: UUID
    kind: str
    subject_kind: str
    subject_id: UUID
    episode_id: UUID
    occurred_on: date
    covers_until: date
    source_id: UUID


def said_anew(episodes: Sequence[UUID]) -> list[Found]:
    """Facts of these episodes that the record says and no row in force does, earliest first."""
    with connection.cursor() as cursor:
        cursor.execute(NEW, _asked(episodes))
        return [Found(*row) for row in cursor.fetchall()]


def said_no_more(episodes: Sequence[UUID]) -> list[UUID]:
    """Rows in force of these episodes that the record does not say any more, or says of another day."""
    with connection.cursor() as cursor:
        cursor.execute(GONE, _asked(episodes))
        return [row[0] for row in cursor.fetchall()]


def _asked(episodes: Sequence[UUID]) -> dict[str, Any]:
    return {
        "episodes": list(episodes),
        "fulfilled": VisitStatus.FULFILLED.value,
        "in_error": DocumentState.ENTERED_IN_ERROR.value,
        "without": list(WITHOUT_TREATMENT),
        "evaluations": list(EVALUATIONS),
        **{kind.name.lower(): kind.value for kind in FactKind},
        **{kind.name.lower(): kind.value for kind in SubjectKind},
    }
