"""The floor under the hot reads: what one would write by hand over the same tables, with the same rights and trail."""

TOKEN = """
SELECT t.user_id, t.scope, a.client_id FROM oauth2_provider_accesstoken t
JOIN oauth2_provider_application a ON a.id = t.application_id JOIN clinic_user u ON u.id = t.user_id
WHERE t.token_checksum = %(checksum)s AND t.expires > now() AND u.is_active"""

SESSION = "SELECT session_data FROM django_session WHERE session_key = %(session)s AND expire_date > now()"
USER = "SELECT id, password FROM clinic_user WHERE id = %(user)s AND is_active"

PERSON = """
SELECT s.id, s.organization_id, o.time_zone, (now() AT TIME ZONE o.time_zone)::date AS today, array_agg(r.role)
FROM clinic_staff s JOIN clinic_organization o ON o.id = s.organization_id
JOIN clinic_staffrole r ON r.staff_id = s.id AND r.starts_on <= (now() AT TIME ZONE o.time_zone)::date
    AND (r.ends_on IS NULL OR r.ends_on >= (now() AT TIME ZONE o.time_zone)::date)
WHERE s.user_id = %(user)s AND (s.left_on IS NULL OR s.left_on >= (now() AT TIME ZONE o.time_zone)::date)
GROUP BY s.id, o.id"""

# A therapist's reach: whom she treats, and whom the assistants treat for whom she answers in the narrowest scope.
REACH = """
SELECT mine.episode_id FROM clinic_careteam mine
WHERE mine.staff_id = %(staff)s AND mine.starts_on <= %(today)s AND (mine.ends_on IS NULL OR mine.ends_on >= %(today)s)
UNION
SELECT theirs.episode_id FROM clinic_supervision held
JOIN clinic_careteam theirs ON theirs.staff_id = held.assistant_id AND theirs.starts_on <= %(today)s
    AND (theirs.ends_on IS NULL OR theirs.ends_on >= %(today)s)
JOIN clinic_episode answered ON answered.id = theirs.episode_id
    AND held.scope_id IN (answered.id, answered.site_id, answered.organization_id)
WHERE held.supervisor_id = %(staff)s AND held.starts_on <= %(today)s
    AND (held.ends_on IS NULL OR held.ends_on >= %(today)s)
    AND (held.kind = 'covering' OR NOT EXISTS (
        SELECT 1 FROM clinic_supervision narrower
        WHERE narrower.assistant_id = held.assistant_id AND narrower.kind = 'primary'
            AND narrower.starts_on <= %(today)s AND (narrower.ends_on IS NULL OR narrower.ends_on >= %(today)s)
            AND ((held.scope = 'organization' AND narrower.scope_id IN (answered.site_id, answered.id))
                OR (held.scope = 'site' AND narrower.scope_id = answered.id))))"""

AUDIT = """
INSERT INTO clinic_auditevent (id, organization_id, at, actor_id, roles, application, action, method, route,
    subject_id, outcome, status, code, reason, address, request_id, client_ids, episode_ids)
VALUES (gen_random_uuid(), %(organization)s, now(), %(staff)s, %(roles)s, %(application)s, %(action)s, 'GET',
    %(route)s, NULL, 'done', 200, '', '', '127.0.0.1', %(request)s, %(clients)s::uuid[], %(episodes)s::uuid[])"""

PARTS = f"""
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
LEFT JOIN scheduling_participationnote n ON n.participation_id = p.id AND n.author_id = %(staff)s
LEFT JOIN clinic_document d ON d.id = n.document_id
WHERE v.organization_id = %(organization)s AND v.service_date = %(today)s
  AND EXISTS (SELECT 1 FROM scheduling_booking b
              WHERE b.visit_id = v.id AND b.staff_id = %(staff)s AND NOT b.superseded)
  AND p.episode_id IN ({REACH})
ORDER BY v.starts_at, v.id, p.starts_at, p.id"""  # noqa: S608

PRECAUTIONS = """
SELECT client_id AS client, id, kind, text, refused, warned, set_by, may_be_lifted_by, starts_on
FROM clinic_precaution
WHERE client_id = ANY (%(clients)s) AND (lifted_on IS NULL OR lifted_on > %(today)s) AND starts_on <= %(today)s
ORDER BY starts_on, id"""

GOALS = """
SELECT g.episode_id AS episode, g.id, g.number, g.text, g.measure, g.unit, g.visit_value, g.strata, g.strata_names,
       COALESCE(s.levels, g.levels) AS levels, g.components, g.due_on, w.last_on, w.last_value, w.level, w.percent,
       w.criterion, w.satisfied, w.preliminary
FROM goals_goal g
LEFT JOIN goals_orderedscale s ON s.id = g.scale_id
LEFT JOIN goals_goalprogress w ON w.goal_id = g.id
WHERE g.episode_id = ANY (%(episodes)s) AND g.lifecycle = 'active' ORDER BY g.number"""

DUE = """
SELECT episode_id AS episode, id, kind, goal_id AS goal, opened_at FROM goals_reviewitem
WHERE episode_id = ANY (%(episodes)s) AND withdrawn_at IS NULL AND acknowledged_at IS NULL ORDER BY opened_at, id"""

UNSIGNED = """
WITH held AS (SELECT DISTINCT visit_id FROM scheduling_booking WHERE staff_id = %(staff)s AND live)
SELECT p.id AS participation, p.client_id AS client, p.episode_id AS episode, p.service_date, d.id AS note, d.state
FROM clinic_document d JOIN scheduling_participationnote n ON n.document_id = d.id
JOIN scheduling_participation p ON p.id = n.participation_id
WHERE d.author_id = %(staff)s AND d.state IN ('draft', 'returned') AND p.status = 'fulfilled'
  AND p.service_date <= %(today)s AND p.visit_id IN (SELECT visit_id FROM held)
UNION ALL
SELECT p.id, p.client_id, p.episode_id, p.service_date, NULL, 'missing'
FROM held JOIN scheduling_participation p ON p.visit_id = held.visit_id
WHERE p.status = 'fulfilled' AND p.service_date <= %(today)s
  AND NOT EXISTS (SELECT 1 FROM scheduling_participationnote n
                  WHERE n.participation_id = p.id AND n.author_id = %(staff)s)
ORDER BY service_date, participation LIMIT 200"""

CASELOAD = f"""
WITH page AS (
    SELECT e.id, e.client_id, e.setting, e.status, e.site_id, c.given_name, c.family_name, c.birth_date
    FROM clinic_episode e JOIN clinic_client c ON c.id = e.client_id
    WHERE e.organization_id = %(organization)s AND e.status IN ('planned', 'active', 'onhold') AND e.id IN ({REACH})
    ORDER BY c.family_name, c.given_name, e.id LIMIT 51)
SELECT page.id AS episode, page.client_id AS client, page.given_name, page.family_name, page.birth_date,
       page.setting, page.status, page.site_id AS site,
       goals.active AS goals_active, goals.met AS goals_met, goals.met_preliminary AS goals_met_preliminary,
       week.held AS visits_held_this_week, week.missed AS visits_missed_this_week,
       week.next_at AS next_visit_at, week.last_on AS last_visit_on,
       notes.unsigned AS notes_unsigned, notes.waiting AS cosignatures_waiting
FROM page
CROSS JOIN LATERAL (
    SELECT count(*) AS active, count(*) FILTER (WHERE w.criterion = 'met') AS met,
           count(*) FILTER (WHERE w.criterion = 'met' AND w.preliminary) AS met_preliminary
    FROM goals_goal g LEFT JOIN goals_goalprogress w ON w.goal_id = g.id
    WHERE g.episode_id = page.id AND g.lifecycle = 'active') goals
CROSS JOIN LATERAL (
    SELECT count(*) FILTER (WHERE p.status = 'fulfilled' AND p.service_date BETWEEN %(monday)s AND %(sunday)s) AS held,
           count(*) FILTER (WHERE p.status IN ('cancelled', 'noshow')
                              AND p.service_date BETWEEN %(monday)s AND %(sunday)s) AS missed,
           max(p.service_date) FILTER (WHERE p.status = 'fulfilled' AND p.service_date <= %(sunday)s) AS last_on,
           min(p.starts_at) FILTER (WHERE p.status = 'booked' AND p.starts_at >= now()) AS next_at
    FROM scheduling_participation p WHERE p.episode_id = page.id) week
CROSS JOIN LATERAL (
    SELECT count(*) FILTER (WHERE d.state IN ('draft', 'returned')) AS unsigned,
           count(*) FILTER (WHERE d.state = 'signed' AND d.requires_cosignature) AS waiting
    FROM clinic_document d
    WHERE d.episode_id = page.id AND d.state IN ('draft', 'returned', 'signed')) notes
ORDER BY page.family_name, page.given_name, page.id"""  # noqa: S608

QUEUE = f"""
WITH page AS (
    SELECT w.* FROM (
        SELECT d.*, CASE WHEN d.cosign_due_at <= now() THEN 0 ELSE 3 END + COALESCE(
            (SELECT min(CASE f.severity WHEN 'warning' THEN 0 ELSE 1 END) FROM clinic_documentflag f
             WHERE f.version_id = d.current_version_id), 2) AS rank
        FROM clinic_document d
        WHERE d.organization_id = %(organization)s AND d.id IN (
            SELECT id FROM clinic_document
            WHERE cosign_owner_id = %(staff)s AND state = 'signed' AND requires_cosignature
            UNION
            SELECT covered.id FROM clinic_supervision held
            JOIN clinic_document covered ON covered.author_id = held.assistant_id AND covered.state = 'signed'
                AND covered.requires_cosignature AND covered.service_date >= held.starts_on
                AND (held.ends_on IS NULL OR covered.service_date <= held.ends_on)
            JOIN clinic_episode e ON e.id = covered.episode_id
                AND held.scope_id IN (e.id, e.site_id, e.organization_id)
            WHERE held.supervisor_id = %(staff)s AND held.kind = 'covering' AND held.starts_on <= %(today)s
                AND (held.ends_on IS NULL OR held.ends_on >= %(today)s) AND covered.author_id <> %(staff)s
                AND covered.episode_id IN ({REACH}))) w
    ORDER BY w.rank, w.cosign_due_at, w.id LIMIT 51)
SELECT d.id AS document, d.kind, d.version, d.service_date, d.cosign_due_at, d.cosign_due_at <= now() AS overdue,
       d.episode_id AS episode, d.client_id AS client, c.given_name, c.family_name, d.author_id AS author,
       a.printed_name AS author_name, v.number, v.digest, v.frozen_at AS signed_at, flagged.count AS flags,
       d.cosign_owner_id AS owner, COALESCE(flagged.told, '[]') AS flagged, opened.at AS opened_at,
       opened.at IS NOT NULL AND flagged.count > opened.flags AS flagged_since_opened,
       returned.reason AS returned_because
FROM page d
JOIN clinic_documentversion v ON v.id = d.current_version_id
JOIN clinic_client c ON c.id = d.client_id
JOIN clinic_staff a ON a.id = d.author_id
CROSS JOIN LATERAL (
    SELECT count(*), json_agg(json_build_object('check', f.check_name, 'severity', f.severity,
                                                'sentence', f.sentence) ORDER BY f.severity, f.check_name) AS told
    FROM clinic_documentflag f WHERE f.version_id = v.id) flagged
CROSS JOIN LATERAL (
    SELECT min(o.opened_at) AS at, max(o.flags_shown) AS flags
    FROM clinic_versionopening o WHERE o.version_id = v.id AND o.staff_id = %(staff)s) opened
LEFT JOIN clinic_documentversion before ON before.document_id = d.id AND before.number = v.number - 1
LEFT JOIN clinic_verdict returned ON returned.version_id = before.id
ORDER BY d.rank, d.cosign_due_at, d.id"""  # noqa: S608
