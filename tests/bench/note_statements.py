"""The floor under a note's writes: each is one statement by hand, behind the same door as the service's.

The door asks for the token and today's roles, and writes the line of the trail and the stored answer. The statements
ask the rest of what the service asks of the database (reach, own visit, goals of the episode, PIN, state, version) and
write what it writes. They do not validate the body, canonicalize by RFC 8785 or raise flags.
"""

WHO = """
actor AS (
    SELECT s.id, s.organization_id, s.printed_name, o.cosignature_required, o.cosign_within_days,
           %(today)s::date AS today
    FROM clinic_staff s JOIN clinic_organization o ON o.id = s.organization_id WHERE s.id = %(staff)s)"""

FEED = """
feed AS (
    INSERT INTO clinic_changefeed (organization_id, kind, record_kind, record_id, client_id, episode_id)
    SELECT organization_id, %(change)s, 'document', id, client_id, episode_id FROM document)"""

PUT = f"""
WITH {WHO},
part AS (
    SELECT p.id, p.visit_id, p.client_id, p.episode_id, p.service_date, actor.id AS author_id, actor.organization_id,
           actor.cosignature_required AND NOT EXISTS (
               SELECT 1 FROM clinic_staffrole r WHERE r.staff_id = actor.id AND r.role = 'therapist'
                 AND r.starts_on <= p.service_date AND (r.ends_on IS NULL OR r.ends_on >= p.service_date)) AS cosigned
    FROM actor JOIN scheduling_participation p ON p.organization_id = actor.organization_id AND p.id = %(part)s
    WHERE EXISTS (SELECT 1 FROM clinic_careteam c WHERE c.episode_id = p.episode_id AND c.staff_id = actor.id
                    AND c.starts_on <= actor.today AND (c.ends_on IS NULL OR c.ends_on >= actor.today))
      AND EXISTS (SELECT 1 FROM scheduling_booking b WHERE b.visit_id = p.visit_id AND b.staff_id = actor.id)
      AND %(goals)s::uuid[] <@ ARRAY(SELECT g.id FROM goals_goal g WHERE g.episode_id = p.episode_id)),
document AS (
    INSERT INTO clinic_document (id, organization_id, version, created_digest, created_at, changed_at, kind,
        service_date, state, requires_cosignature, draft, client_id, episode_id, author_id)
    SELECT %(id)s, organization_id, 1, %(digest)s, %(now)s, %(now)s, 'visit_note', service_date, 'draft', cosigned,
        %(draft)s::jsonb, client_id, episode_id, author_id
    FROM part RETURNING *),
link AS (
    INSERT INTO scheduling_participationnote (id, organization_id, participation_id, document_id, episode_id, author_id)
    SELECT gen_random_uuid(), part.organization_id, part.id, document.id, part.episode_id, part.author_id
    FROM part, document),
visit AS (UPDATE scheduling_visit v SET version = v.version + 1 FROM part WHERE v.id = part.visit_id),
shown AS (UPDATE scheduling_participation p SET version = p.version + 1 FROM part WHERE p.id = part.id),
{FEED}
SELECT document.id, document.client_id, document.episode_id, document.author_id, document.service_date,
       document.requires_cosignature, part.visit_id FROM document, part"""  # noqa: S608

SIGN = f"""
WITH {WHO},
pin AS (
    SELECT staff_id, hash FROM clinic_signingpin
    WHERE staff_id = (SELECT id FROM actor) AND (locked_until IS NULL OR locked_until <= %(now)s)
    FOR NO KEY UPDATE),
draft AS (
    SELECT * FROM clinic_document
    WHERE id = %(id)s AND author_id = (SELECT staff_id FROM pin) AND version = 1 AND state IN ('draft', 'returned')
    FOR NO KEY UPDATE),
frozen AS (
    SELECT gen_random_uuid() AS version_id, d.id, v.id AS visit_id, v.site_id, s.time_zone, p.id AS part_id,
           d.draft->'measurements' AS measured, convert_to(jsonb_build_object(
               'kind', d.kind, 'document', d.id, 'organization', d.organization_id, 'episode', d.episode_id,
               'client', d.client_id, 'record_regime', e.record_regime, 'author', d.author_id,
               'service_date', d.service_date, 'body', d.draft,
               'visit', jsonb_build_object('id', v.id, 'kind', v.kind, 'mode', v.mode, 'site', v.site_id,
                   'time_zone', s.time_zone),
               'participation', jsonb_build_object('id', p.id, 'starts_at', p.starts_at, 'ends_at', p.ends_at,
                   'arrived_at', p.arrived_at, 'left_at', p.left_at, 'minutes', p.minutes))::text, 'UTF8') AS content,
           (SELECT c.supervisor_id FROM clinic_supervision c
            WHERE c.assistant_id = d.author_id AND c.scope_id IN (e.id, e.site_id, e.organization_id)
              AND c.starts_on <= d.service_date AND (c.ends_on IS NULL OR c.ends_on >= d.service_date)
            ORDER BY c.scope = 'episode' DESC, c.scope = 'site' DESC LIMIT 1) AS owner_id
    FROM draft d JOIN scheduling_participationnote n ON n.document_id = d.id
    JOIN scheduling_participation p ON p.id = n.participation_id JOIN scheduling_visit v ON v.id = p.visit_id
    JOIN clinic_site s ON s.id = v.site_id JOIN clinic_episode e ON e.id = d.episode_id
    WHERE p.status = 'fulfilled' AND p.starts_at <= %(now)s),
version AS (
    INSERT INTO clinic_documentversion (id, organization_id, document_id, number, content, digest, previous_digest,
        author_id, frozen_at)
    SELECT f.version_id, d.organization_id, d.id, 1, f.content, encode(sha256(f.content), 'hex'), '', d.author_id,
        %(now)s
    FROM frozen f, draft d RETURNING *),
signed AS (
    INSERT INTO clinic_signature (id, organization_id, version_id, version_author_id, signer_id, meaning, printed_name,
        credential_id, signed_at, application, digest)
    SELECT gen_random_uuid(), v.organization_id, v.id, v.author_id, actor.id, 'authorship',
        concat_ws(', ', actor.printed_name, c.abbreviation), c.id, %(now)s, %(application)s, v.digest
    FROM version v CROSS JOIN actor LEFT JOIN LATERAL (
        SELECT id, abbreviation FROM clinic_credential WHERE staff_id = actor.id AND starts_on <= actor.today
        ORDER BY starts_on DESC LIMIT 1) c ON true
    RETURNING printed_name),
measured AS (
    INSERT INTO goals_measurement (id, organization_id, goal_id, episode_id, client_id, measure, document_id,
        version_id, slot, service_date, site_id, setting, source, observer, partner, opportunities, trials, successes,
        counted, value, parts, recorded_at)
    SELECT gen_random_uuid(), d.organization_id, g.id, d.episode_id, d.client_id, g.measure, d.id, v.id, 1,
        d.service_date, f.site_id, '', 'clinician', '', '', m.opportunities,
        jsonb_build_object('successes', m.successes, 'opportunities', m.opportunities), m.successes, m.opportunities,
        m.successes::numeric / m.opportunities, '{{}}', %(now)s
    FROM draft d, version v, frozen f, jsonb_to_recordset(f.measured) AS m(goal uuid, successes int, opportunities int)
    JOIN goals_goal g ON g.id = m.goal),
document AS (
    UPDATE clinic_document d SET state = 'signed', current_version_id = f.version_id, draft = NULL,
        changed_at = %(now)s, version = d.version + 1, cosign_owner_id = f.owner_id,
        cosign_due_at = ((%(now)s::timestamptz AT TIME ZONE f.time_zone)::date
            + actor.cosign_within_days + 1)::timestamp AT TIME ZONE f.time_zone
    FROM frozen f, actor WHERE d.id = f.id RETURNING d.*),
released AS (
    UPDATE clinic_careteam c SET ends_on = actor.today FROM actor, frozen f, draft d
    WHERE c.source_id = f.visit_id AND c.episode_id = d.episode_id AND c.staff_id = d.author_id
      AND c.ends_on IS NULL AND c.starts_on <= actor.today),
message AS (
    INSERT INTO clinic_outboxmessage (id, organization_id, topic, refs, created_at)
    SELECT gen_random_uuid(), organization_id, 'document.signed', jsonb_build_object('document_id', id), %(now)s
    FROM document RETURNING id, organization_id),
handling AS (
    INSERT INTO clinic_outboxhandling (id, organization_id, message_id, handler, attempts, not_before, last_error)
    SELECT gen_random_uuid(), organization_id, id, handler, 0, %(now)s, '' FROM message,
        unnest(ARRAY['goals.recompute_of_document', 'scheduling.check_document']) AS listener (handler)),
{FEED},
answer AS (
    SELECT d.client_id, d.episode_id, jsonb_build_object(
        'id', d.id, 'version', d.version, 'kind', d.kind, 'state', d.state,
        'participation', f.part_id, 'visit', f.visit_id, 'amends', NULL, 'client', d.client_id,
        'episode', d.episode_id, 'author', d.author_id, 'service_date', d.service_date,
        'requires_cosignature', d.requires_cosignature, 'cosign_owner', d.cosign_owner_id,
        'cosign_due_at', d.cosign_due_at, 'changed_at', d.changed_at, 'draft', NULL,
        'current', jsonb_build_object('number', v.number, 'digest', v.digest, 'previous_digest', '',
            'frozen_at', v.frozen_at, 'content', convert_from(v.content, 'UTF8')::jsonb,
            'signatures', jsonb_build_array(jsonb_build_object('signer', actor.id,
                'printed_name', signed.printed_name, 'meaning', 'authorship', 'signed_at', v.frozen_at,
                'application', %(application)s, 'in_succession_to', NULL)),
            'verdict', NULL, 'flags', '[]'::jsonb))::text AS body
    FROM document d, version v, frozen f, actor, signed)
SELECT body, client_id, episode_id FROM answer"""  # noqa: S608
