"""A practice of believable size, made by a few statements: people, children, visits, notes, goals, progress.

Everything follows from numbers (clinician, child, visit), so that it is the same in each run, but for the day:
clinician k treats each child n with n % 40 = k, weekly, at one hour of one weekday. Those below 25 are assistants.
"""

from dataclasses import dataclass

import psycopg

from clinic.models import Staff

CLINICIANS, ASSISTANTS = 40, 25
SUPERVISOR = ASSISTANTS  # the first therapist; two assistants work under her


@dataclass(frozen=True)
class Size:
    """How many children, and how many weekly visits of each, three of them still to come."""

    children: int
    visits: int


FULL, QUICK = Size(2000, 30), Size(1200, 15)

UUIDS = """
CREATE FUNCTION pg_temp.id(kind text, n bigint) RETURNS uuid IMMUTABLE LANGUAGE sql
AS $$ SELECT md5(kind || ' ' || n)::uuid $$"""

PEOPLE = """
INSERT INTO clinic_organization (id, name, time_zone, country, subdivision, sign_within_business_days,
    cosign_within_days, cosignature_required, corrected_age_until_months, care_team_days_before_booking, version)
VALUES (pg_temp.id('organization', 1), 'Alder Yard Therapy', 'UTC', 'US', 'IL', 2, 7, true, 24, 7, 1);
INSERT INTO clinic_site (id, organization_id, version, created_digest, created_at, name, time_zone, country,
    subdivision)
SELECT pg_temp.id('site', n), pg_temp.id('organization', 1), 1, '', now(), 'Site ' || n, 'UTC', 'US', 'IL'
FROM generate_series(0, 3) n;
INSERT INTO clinic_user (id, username, password, is_superuser, first_name, last_name, email, is_staff, is_active,
    date_joined)
SELECT pg_temp.id('user', k), 'clinician' || k, '!', false, '', '', '', false, true, now()
FROM generate_series(0, {clinicians} - 1) k;
INSERT INTO clinic_staff (id, organization_id, version, created_digest, created_at, user_id, printed_name, joined_on)
SELECT pg_temp.id('staff', k), pg_temp.id('organization', 1), 1, '', now(), pg_temp.id('user', k), 'Clinician ' || k,
    current_date - 900
FROM generate_series(0, {clinicians} - 1) k;
INSERT INTO clinic_staffrole (id, organization_id, version, created_digest, created_at, staff_id, role, starts_on)
SELECT pg_temp.id('role', k), pg_temp.id('organization', 1), 1, '', now(), pg_temp.id('staff', k),
    CASE WHEN k < {assistants} THEN 'assistant' ELSE 'therapist' END, current_date - 900
FROM generate_series(0, {clinicians} - 1) k;
INSERT INTO clinic_supervision (id, organization_id, version, created_digest, created_at, assistant_id, supervisor_id,
    kind, scope, starts_on)
SELECT pg_temp.id('supervision', k), pg_temp.id('organization', 1), 1, '', now(), pg_temp.id('staff', k),
    pg_temp.id('staff', {assistants} + k % ({clinicians} - {assistants})), 'primary', 'organization', current_date - 900
FROM generate_series(0, {assistants} - 1) k"""

CHILDREN = """
INSERT INTO clinic_client (id, organization_id, version, created_digest, created_at, home_site_id, given_name,
    family_name, preferred_name, birth_date)
SELECT pg_temp.id('client', n), pg_temp.id('organization', 1), 1, '', now(), pg_temp.id('site', n % 4),
    (ARRAY['Mirela', 'Tovan', 'Isbel', 'Corin', 'Ylva', 'Brann', 'Sorrel'])[1 + n % 7],
    (ARRAY['Oduya', 'Fenwright', 'Halloran', 'Quist', 'Marsh', 'Ibarra', 'Lund', 'Petrov', 'Ashdown'])[1 + n * 5 % 9]
    || (n / 9), '', current_date - 1200 - n
FROM generate_series(0, {children} - 1) n;
INSERT INTO clinic_episode (id, organization_id, version, created_digest, created_at, client_id, site_id, setting,
    discipline, jurisdiction, record_regime, payer, status, opened_on, next_goal_number)
SELECT pg_temp.id('episode', n), pg_temp.id('organization', 1), 1, '', now(), pg_temp.id('client', n),
    pg_temp.id('site', n % 4), 'outpatient', 'occupational_therapy', 'US-IL', 'health_record', '', 'active',
    current_date - 400, 5
FROM generate_series(0, {children} - 1) n;
INSERT INTO clinic_careteam (id, organization_id, version, created_digest, created_at, episode_id, staff_id, role,
    starts_on, source)
SELECT pg_temp.id('place', n), pg_temp.id('organization', 1), 1, '', now(), pg_temp.id('episode', n),
    pg_temp.id('staff', n % {clinicians}), 'treating', current_date - 400, 'assigned'
FROM generate_series(0, {children} - 1) n;
INSERT INTO clinic_precaution (id, organization_id, version, created_digest, created_at, client_id, kind, text,
    refused, warned, set_by, may_be_lifted_by, starts_on, recorded_by_id)
SELECT pg_temp.id('precaution', n), pg_temp.id('organization', 1), 1, '', now(), pg_temp.id('client', n), 'other',
    'Only with the safety harness', '{{}}', '{{}}', 'therapist', 'therapist', current_date - 300,
    pg_temp.id('staff', {assistants})
FROM generate_series(0, {children} - 1, 3) n"""

GOALS = """
INSERT INTO goals_goal (id, organization_id, version, created_digest, created_at, episode_id, client_id, number, text,
    purpose, measure, direction, unit, visit_value, strata, strata_names, levels, alone_at, per_minutes, trial_name,
    independent_trials, components, definition, lifecycle, starts_on, due_on, proposed_by_id)
SELECT pg_temp.id('goal', n * 4 + g), pg_temp.id('organization', 1), 1, '', now(), pg_temp.id('episode', n),
    pg_temp.id('client', n), g + 1, 'fastens vest buttons without help', 'improve', 'accuracy', 'increase', '1',
    'single', 'none', '{{}}', '{{}}', 'supervision', 1, 'trials', true, '[]', '',
    CASE WHEN g < 3 THEN 'active' ELSE 'completed' END, current_date - 200, current_date + 60,
    pg_temp.id('staff', {assistants} + n % ({clinicians} - {assistants}))
FROM generate_series(0, {children} - 1) n, generate_series(0, 3) g;
INSERT INTO goals_goalprogress (goal_id, organization_id, engine, input_digest, visits, last_on, last_value, level,
    baseline, percent, slope_per_week, criterion, satisfied, preliminary, findings, computed_at)
SELECT pg_temp.id('goal', m), pg_temp.id('organization', 1), '1', md5(m::text), 20, current_date - 1, '7/10', '0.7',
    '0.3', 80.5, 0.012, CASE WHEN m % 5 = 0 THEN 'met' ELSE 'not_met' END, 2, m % 2 = 0,
    jsonb_build_object('sentences', repeat('what the numbers say ', 60)), now()
FROM generate_series(0, {children} * 4 - 1) m;
INSERT INTO goals_reviewitem (id, organization_id, goal_id, episode_id, kind, opened_at)
SELECT pg_temp.id('item', m), pg_temp.id('organization', 1), pg_temp.id('goal', m), pg_temp.id('episode', m / 4),
    'goal_met', now()
FROM generate_series(0, {children} * 4 - 1, 5) m"""

SCHEDULE = """
CREATE TEMPORARY TABLE planned ON COMMIT DROP AS
SELECT n * {visits} + j AS v, n, j, n % {clinicians} AS k,
    (current_date + (3 - j) * 7 + m % 7 - 3)::timestamp AT TIME ZONE 'UTC' + make_interval(hours => 8 + m / 7) AS at,
    current_date + (3 - j) * 7 + m % 7 - 3 AS day
FROM (SELECT n, n / {clinicians} AS m FROM generate_series(0, {children} - 1) n) child,
    generate_series(0, {visits} - 1) j;
ALTER TABLE planned ADD status text;
UPDATE planned SET status = CASE WHEN day >= current_date THEN 'booked' WHEN v % 17 = 0 THEN 'cancelled'
    ELSE 'fulfilled' END;
INSERT INTO scheduling_visit (id, organization_id, version, created_digest, created_at, site_id, kind, mode, place,
    status, starts_at, ends_at, service_date, sequence)
SELECT pg_temp.id('visit', v), pg_temp.id('organization', 1), 1, '', now(), pg_temp.id('site', n % 4), 'treatment',
    'in_person', '', status, at, at + interval '45 minutes', day, 0
FROM planned;
INSERT INTO scheduling_participation (id, organization_id, version, created_digest, created_at, visit_id, client_id,
    episode_id, service_date, starts_at, ends_at, status, minutes, ended_early, cancelled_at, cancelled_by_id,
    cancel_cause, cancel_reason)
SELECT pg_temp.id('part', v), pg_temp.id('organization', 1), 1, '', now(), pg_temp.id('visit', v),
    pg_temp.id('client', n), pg_temp.id('episode', n), day, at, at + interval '45 minutes', status,
    CASE status WHEN 'fulfilled' THEN 45 END, '', CASE status WHEN 'cancelled' THEN at END,
    CASE status WHEN 'cancelled' THEN pg_temp.id('staff', k) END, CASE status WHEN 'cancelled' THEN 'client' END, ''
FROM planned;
INSERT INTO scheduling_booking (id, organization_id, visit_id, staff_id, client_id, during, live, superseded)
SELECT pg_temp.id(held, v), pg_temp.id('organization', 1), pg_temp.id('visit', v),
    CASE held WHEN 'staff held' THEN pg_temp.id('staff', k) END,
    CASE held WHEN 'child held' THEN pg_temp.id('client', n) END,
    tstzrange(at, at + interval '45 minutes'), status <> 'cancelled', false
FROM planned, unnest(ARRAY['staff held', 'child held']) held;
INSERT INTO clinic_careteam (id, organization_id, version, created_digest, created_at, episode_id, staff_id, role,
    starts_on, ends_on, source, source_id)
SELECT pg_temp.id('booked place', v), pg_temp.id('organization', 1), 1, '', now(), pg_temp.id('episode', n),
    pg_temp.id('staff', k), 'treating', day - 7, CASE WHEN day < current_date THEN day END, 'booking',
    pg_temp.id('visit', v)
FROM planned WHERE day - 7 <= current_date;
CREATE TEMPORARY TABLE written ON COMMIT DROP AS
SELECT *, k < {assistants} AS helped, CASE WHEN v % 29 = 0 AND day >= current_date - 14 THEN 'draft'
    WHEN k >= {assistants} OR day >= current_date - 20 THEN 'signed' ELSE 'cosigned' END AS state
FROM planned WHERE status = 'fulfilled' AND v % 31 <> 0"""

NOTES = """
INSERT INTO clinic_documentversion (id, organization_id, document_id, number, content, digest, previous_digest,
    author_id, frozen_at)
SELECT pg_temp.id('version', v), pg_temp.id('organization', 1), pg_temp.id('note', v), 1,
    convert_to('{{"body":"' || repeat('what was done in the visit ', 20) || '"}}', 'UTF8'),
    encode(sha256(v::text::bytea), 'hex'), '', pg_temp.id('staff', k), at + interval '2 hours'
FROM written WHERE state <> 'draft';
INSERT INTO clinic_document (id, organization_id, version, created_digest, created_at, changed_at, episode_id,
    client_id, kind, author_id, service_date, state, requires_cosignature, cosign_owner_id, cosign_due_at,
    current_version_id, draft)
SELECT pg_temp.id('note', v), pg_temp.id('organization', 1), 2, '', at, at, pg_temp.id('episode', n),
    pg_temp.id('client', n), 'visit_note', pg_temp.id('staff', k), day, state, helped,
    CASE WHEN helped THEN pg_temp.id('staff', {assistants} + k % ({clinicians} - {assistants})) END,
    CASE WHEN helped AND state = 'signed' THEN at + interval '8 days' END,
    CASE WHEN state <> 'draft' THEN pg_temp.id('version', v) END, CASE state WHEN 'draft' THEN '{{}}'::jsonb END
FROM written;
INSERT INTO clinic_signature (id, organization_id, version_id, version_author_id, signer_id, meaning, printed_name,
    signed_at, application, digest)
SELECT pg_temp.id('signature', v), pg_temp.id('organization', 1), pg_temp.id('version', v), pg_temp.id('staff', k),
    pg_temp.id('staff', k), 'authorship', 'Clinician ' || k, at + interval '2 hours', 'session',
    encode(sha256(v::text::bytea), 'hex')
FROM written WHERE state <> 'draft';
INSERT INTO clinic_documentflag (id, organization_id, version_id, check_name, subject, severity, facts, sentence)
SELECT pg_temp.id('flag', v * 3 + f), pg_temp.id('organization', 1), pg_temp.id('version', v), 'check ' || f, '',
    CASE WHEN v % 7 = 0 THEN 'warning' ELSE 'notice' END, '{{}}', 'Something to be read first.'
FROM written, generate_series(1, 2) f WHERE state <> 'draft' AND v % 3 = 0;
INSERT INTO clinic_versionopening (id, organization_id, version_id, staff_id, flags_shown, opened_at)
SELECT pg_temp.id('opening', v), pg_temp.id('organization', 1), pg_temp.id('version', v),
    pg_temp.id('staff', {assistants} + k % ({clinicians} - {assistants})), v % 2, at + interval '1 day'
FROM written WHERE helped AND state <> 'draft' AND v % 5 = 0;
INSERT INTO scheduling_participationnote (id, organization_id, participation_id, document_id, episode_id, author_id)
SELECT pg_temp.id('link', v), pg_temp.id('organization', 1), pg_temp.id('part', v), pg_temp.id('note', v),
    pg_temp.id('episode', n), pg_temp.id('staff', k)
FROM written"""


def fill(url: str, size: Size) -> Staff:
    """Fill the database; answers the therapist who will read. A superuser loads without asking each key in turn."""
    given = {
        "clinicians": CLINICIANS,
        "assistants": ASSISTANTS,
        "children": size.children,
        "visits": size.visits,
    }
    with psycopg.connect(url) as connection:
        if connection.info.parameter_status("is_superuser") == "on":
            connection.execute("SET LOCAL session_replication_role = replica")
        connection.execute(UUIDS)
        for part in (PEOPLE, CHILDREN, GOALS, SCHEDULE, NOTES):
            connection.execute(part.format(**given))
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute("VACUUM ANALYZE")
        (reader,) = connection.execute("SELECT md5('staff ' || %s)::uuid", [SUPERVISOR]).fetchone() or (None,)
    return Staff.objects.select_related("user").get(pk=reader)
