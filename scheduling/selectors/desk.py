"""The reads that people wait for: the day, the caseload. Hand-written SQL, reach included."""

import json
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from django.db import connection

from clinic.models.reach import care_sql
from clinic.rules.access import Action, Actor, Relation, relations

Rows = list[dict[str, Any]]


def read_all(sql: str, params: Sequence[Any] | Mapping[str, Any]) -> Rows:
    """The rows of a statement, each by its columns' names."""
    with connection.cursor() as cursor:
        cursor.execute(sql, params)
        names = [column.name for column in cursor.description or ()]
        return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]


def reached(actor: Actor, action: Action) -> tuple[str, list[Any]]:
    """SQL that lists the episodes in reach for this action."""
    granted = relations(actor, action)
    if Relation.ORGANIZATION in granted:
        return "SELECT id FROM clinic_episode WHERE organization_id = %s", [actor.organization_id]
    return care_sql(actor, granted)


# --- The day --------------------------------------------------------------------------------------------

PARTS = """
SELECT v.id AS visit, v.kind, v.mode, v.place, v.status AS visit_status, v.starts_at AS visit_starts_at,
       v.ends_at AS visit_ends_at, s.name AS site, s.time_zone, p.id AS participation, p.version, p.status,
       p.starts_at, p.ends_at, p.arrived_at, p.minutes, p.episode_id AS episode, c.id AS client, c.given_name,
       c.family_name, c.preferred_name, c.birth_date, d.id AS note, d.state AS note_state,
       ARRAY(SELECT planned.goal_id FROM scheduling_plannedgoal planned
             WHERE planned.participation_id = p.id AND planned.dropped_at IS NULL
             ORDER BY planned.planned_at, planned.id) AS planned_goals
FROM scheduling_visit v
JOIN clinic_site s ON s.id = v.site_id
JOIN scheduling_participation p ON p.visit_id = v.id
JOIN clinic_client c ON c.id = p.client_id
LEFT JOIN (scheduling_participationnote n
    JOIN clinic_document d ON d.id = n.document_id AND d.state <> 'entered-in-error')
  ON n.participation_id = p.id AND n.author_id = %s
WHERE v.organization_id = %s AND v.service_date = %s
  AND EXISTS (SELECT 1 FROM scheduling_booking b WHERE b.visit_id = v.id AND b.staff_id = %s AND NOT b.superseded)
  AND p.episode_id IN ({reach}) AND p.status <> 'entered-in-error'
ORDER BY v.starts_at, v.id, p.starts_at, p.id"""

PRECAUTIONS = """
SELECT client_id AS client, id, kind, text, refused, warned, set_by, may_be_lifted_by, starts_on
FROM clinic_precaution
WHERE client_id = ANY(%s) AND (lifted_on IS NULL OR lifted_on > %s) AND starts_on <= %s ORDER BY starts_on, id"""

GOALS = """
SELECT g.episode_id AS episode, g.id, g.number, g.text, g.measure, g.unit, g.visit_value, g.strata, g.strata_names,
       COALESCE(s.levels, g.levels) AS levels, g.components, g.due_on, w.last_on, w.last_value, w.level, w.percent,
       w.criterion, w.satisfied, w.preliminary
FROM goals_goal g
LEFT JOIN goals_orderedscale s ON s.id = g.scale_id
LEFT JOIN goals_goalprogress w ON w.goal_id = g.id
WHERE g.episode_id = ANY(%s) AND g.lifecycle = 'active' ORDER BY g.number"""

DUE = """
SELECT i.episode_id AS episode, i.id, i.kind, i.goal_id AS goal, i.opened_at
FROM goals_reviewitem i
WHERE i.episode_id = ANY(%s) AND i.withdrawn_at IS NULL AND i.acknowledged_at IS NULL ORDER BY i.opened_at, i.id"""

# What has a note that is not signed is found from the few such notes, what has none from her visits.
UNSIGNED = """
WITH held AS (SELECT DISTINCT visit_id FROM scheduling_booking WHERE staff_id = %s AND live)
SELECT p.id AS participation, p.client_id AS client, p.episode_id AS episode, p.service_date, d.id AS note, d.state
FROM clinic_document d
JOIN scheduling_participationnote n ON n.document_id = d.id
JOIN scheduling_participation p ON p.id = n.participation_id
WHERE d.author_id = %s AND d.state IN ('draft', 'returned') AND p.status = 'fulfilled' AND p.service_date <= %s
  AND p.visit_id IN (SELECT visit_id FROM held)
UNION ALL
SELECT p.id, p.client_id, p.episode_id, p.service_date, NULL, 'missing'
FROM held
JOIN scheduling_participation p ON p.visit_id = held.visit_id
WHERE p.status = 'fulfilled' AND p.service_date <= %s
  AND NOT EXISTS (
    SELECT 1 FROM scheduling_participationnote n
    JOIN clinic_document d ON d.id = n.document_id AND d.state <> 'entered-in-error'
    WHERE n.participation_id = p.id AND n.author_id = %s)
ORDER BY service_date, participation LIMIT 200"""


def day_of(actor: Actor, day: date) -> dict[str, Any]:
    """One person's day in five queries: her visits, each child's precautions, goals, what is due, what is unsigned."""
    reach, params = reached(actor, Action.SEE_GOALS)
    mine = actor.staff_id
    parts = read_all(PARTS.replace("{reach}", reach), [mine, actor.organization_id, day, mine, *params])
    clients = list({row["client"] for row in parts})
    episodes = list({row["episode"] for row in parts})
    return {
        "parts": parts,
        "precautions": _by(read_all(PRECAUTIONS, [clients, day, day]), "client"),
        "goals": _by(_goals(episodes), "episode"),
        "due": _by(read_all(DUE, [episodes]), "episode"),
        "unsigned": read_all(UNSIGNED, [mine, mine, actor.today, actor.today, mine]),
    }


def _goals(episodes: list[Any]) -> Rows:
    rows = read_all(GOALS, [episodes])
    for row in rows:
        row["components"] = json.loads(row["components"])  # the framework's cursors leave JSON as text
    return rows


def _by(rows: Rows, name: str) -> dict[Any, Rows]:
    found: dict[Any, Rows] = {}
    for row in rows:
        found.setdefault(row.pop(name), []).append(row)
    return found


# --- The caseload ---------------------------------------------------------------------------------------

CASELOAD = """
WITH page AS (
    SELECT e.id, e.client_id, e.setting, e.status, e.site_id, c.given_name, c.family_name, c.birth_date
    FROM clinic_episode e JOIN clinic_client c ON c.id = e.client_id
    WHERE e.organization_id = %s AND e.status IN ('planned', 'active', 'onhold') AND e.id IN ({reach}) {beyond}
    ORDER BY {order} LIMIT %s)
SELECT page.id AS episode, page.client_id AS client, page.given_name, page.family_name, page.birth_date,
       page.setting, page.status, page.site_id AS site,
       goals.active AS goals_active, goals.met AS goals_met, goals.met_preliminary AS goals_met_preliminary,
       week.held AS visits_held_this_week, week.missed AS visits_missed_this_week,
       coming.next_at AS next_visit_at, week.last_on AS last_visit_on,
       notes.unsigned AS notes_unsigned, notes.waiting AS cosignatures_waiting
FROM page
CROSS JOIN LATERAL (
    SELECT count(*) AS active, count(*) FILTER (WHERE w.criterion = 'met') AS met,
           count(*) FILTER (WHERE w.criterion = 'met' AND w.preliminary) AS met_preliminary
    FROM goals_goal g LEFT JOIN goals_goalprogress w ON w.goal_id = g.id
    WHERE g.episode_id = page.id AND g.lifecycle = 'active') goals
CROSS JOIN LATERAL (
    SELECT count(*) FILTER (WHERE p.status = 'fulfilled' AND p.service_date >= %s) AS held,
           count(*) FILTER (WHERE p.status IN ('cancelled', 'noshow') AND p.service_date >= %s) AS missed,
           max(p.service_date) FILTER (WHERE p.status = 'fulfilled') AS last_on
    FROM scheduling_participation p WHERE p.episode_id = page.id AND p.service_date < %s) week
CROSS JOIN LATERAL (
    SELECT min(p.starts_at) AS next_at FROM scheduling_participation p
    WHERE p.episode_id = page.id AND p.status = 'booked' AND p.starts_at >= %s) coming
CROSS JOIN LATERAL (
    SELECT count(*) FILTER (WHERE d.state IN ('draft', 'returned')) AS unsigned,
           count(*) FILTER (WHERE d.state = 'signed' AND d.requires_cosignature) AS waiting
    FROM clinic_document d
    WHERE d.episode_id = page.id AND d.state IN ('draft', 'returned', 'signed')) notes
ORDER BY {outer_order}"""

KEY = ("family_name", "given_name", "episode")


def caseload_page(actor: Actor, *, now: datetime, key: list[Any] | None, backwards: bool, limit: int) -> Rows:
    """One row for each open episode in reach, by name; counts of this week, which begins on Monday."""
    reach, params = reached(actor, Action.SEE_CASELOAD)
    direction = "DESC" if backwards else "ASC"
    sign = "<" if backwards else ">"
    sql = (
        CASELOAD.replace("{reach}", reach)
        .replace("{beyond}", f"AND (c.family_name, c.given_name, e.id) {sign} (%s, %s, %s)" if key else "")
        .replace("{order}", f"c.family_name {direction}, c.given_name {direction}, e.id {direction}")
        .replace("{outer_order}", f"page.family_name {direction}, page.given_name {direction}, page.id {direction}")
    )
    monday = actor.today - timedelta(days=actor.today.weekday())
    week = [monday, monday, monday + timedelta(days=7), now]
    return read_all(sql, [actor.organization_id, *params, *(key or []), limit, *week])
