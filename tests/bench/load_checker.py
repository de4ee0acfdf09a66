"""Compares the record with the clients' ledgers, in raw SQL alone; and makes the faults that it must find."""

import json
from collections.abc import Iterable
from pathlib import Path

import psycopg

MEASURED = 3

# One statement a fault: each answers what is wrong, as text. `ledger` holds what the clients were told.
FAULTS = {
    "a note that was acknowledged is missing or stands twice": """
        SELECT l.note FROM ledger l WHERE l.kind = 'put' AND (
            SELECT count(*) FROM clinic_document d JOIN scheduling_participationnote n ON n.document_id = d.id
            WHERE d.id = l.note AND n.participation_id = l.part) <> 1""",
    "a signature that was acknowledged is missing or stands twice": """
        SELECT l.note, l.number FROM ledger l WHERE l.kind = 'sign' AND (
            SELECT count(*) FROM clinic_documentversion v
            JOIN clinic_signature s ON s.version_id = v.id AND s.meaning = 'authorship' AND s.digest = v.digest
            WHERE v.document_id = l.note AND v.number = l.number AND v.digest = l.digest) <> 1""",
    "a verdict that was acknowledged is missing, another, or stands twice": """
        SELECT l.note, l.number, l.kind FROM ledger l WHERE l.kind IN ('cosigned', 'returned') AND (
            SELECT count(*) FROM clinic_documentversion v JOIN clinic_verdict t ON t.version_id = v.id
            WHERE v.document_id = l.note AND v.number = l.number AND t.outcome = l.kind) <> 1""",
    "a write was acknowledged twice": """
        SELECT note, number, kind FROM ledger WHERE kind <> 'revise' GROUP BY note, number, kind HAVING count(*) > 1""",
    "a version has two verdicts": """
        SELECT version_id FROM clinic_verdict GROUP BY version_id HAVING count(*) > 1
        UNION ALL SELECT t.version_id FROM clinic_verdict t JOIN clinic_signature s ON s.version_id = t.version_id
            WHERE t.outcome = 'returned' AND s.meaning = 'cosignature'""",
    "a version or its content is not what was frozen": """
        SELECT id FROM clinic_documentversion WHERE encode(sha256(content), 'hex') <> digest""",
    "versions of a note that nobody signed so often": """
        SELECT v.document_id FROM clinic_documentversion v GROUP BY v.document_id
        HAVING count(*) > 1 + (SELECT count(*) FROM clinic_verdict t JOIN clinic_documentversion w
            ON w.id = t.version_id WHERE w.document_id = v.document_id AND t.outcome = 'returned')
            OR max(v.number) <> count(*)""",
    "a signed version without its measurements, or with more": f"""
        SELECT v.id FROM clinic_documentversion v
        WHERE (SELECT count(*) FROM goals_measurement m WHERE m.version_id = v.id) <> {MEASURED}""",
    "a note whose state is not what its versions and verdicts say": """
        SELECT d.id FROM clinic_document d LEFT JOIN clinic_verdict t ON t.version_id = d.current_version_id
        WHERE d.state <> CASE WHEN d.current_version_id IS NULL THEN 'draft' ELSE coalesce(t.outcome, 'signed') END""",
    "two notes for one part of a visit": """
        SELECT participation_id FROM scheduling_participationnote GROUP BY participation_id HAVING count(*) > 1""",
    "background work that was left or given up": """
        SELECT h.handler, h.attempts, h.last_error, h.not_before, h.claimed_until, h.dead_at
        FROM clinic_outboxhandling h WHERE h.done_at IS NULL""",
    "a goal whose progress does not rest on what counts now": """
        SELECT g.id FROM goals_goal g WHERE (
            SELECT p.visits FROM goals_goalprogress p WHERE p.goal_id = g.id
        ) IS DISTINCT FROM (
            SELECT nullif(count(*), 0) FROM goals_measurement m
            JOIN clinic_document d ON d.id = m.document_id AND d.current_version_id = m.version_id
            WHERE m.goal_id = g.id AND d.state IN ('signed', 'cosigned'))""",
}

# What an attacker or a fault could do to the record; each must be found under the name of its fault.
MADE = {
    "a signature that was acknowledged is missing or stands twice": """
        DELETE FROM clinic_signature WHERE id = (SELECT s.id FROM clinic_signature s JOIN clinic_documentversion v
            ON v.id = s.version_id JOIN ledger l ON l.note = v.document_id AND l.number = v.number
            WHERE l.kind = 'sign' AND s.meaning = 'authorship' LIMIT 1)""",
    "a verdict that was acknowledged is missing, another, or stands twice": """
        UPDATE clinic_verdict SET outcome = 'returned', reason = 'r', signature_id = NULL WHERE version_id = (
            SELECT v.id FROM clinic_documentversion v JOIN ledger l ON l.note = v.document_id AND l.number = v.number
            WHERE l.kind = 'cosigned' LIMIT 1)""",
    "a note that was acknowledged is missing or stands twice": """
        DELETE FROM scheduling_participationnote WHERE document_id = (
            SELECT note FROM ledger WHERE kind = 'put' LIMIT 1)""",
    "a version or its content is not what was frozen": """
        UPDATE clinic_documentversion SET content = content || ' '::bytea
        WHERE id = (SELECT id FROM clinic_documentversion LIMIT 1)""",
    "versions of a note that nobody signed so often": """
        INSERT INTO clinic_documentversion (id, organization_id, document_id, number, content, digest, previous_digest,
            author_id, frozen_at)
        SELECT gen_random_uuid(), organization_id, document_id, number + 7, content, digest, digest, author_id, now()
        FROM clinic_documentversion LIMIT 1""",
}


def faults(connection: psycopg.Connection) -> list[str]:
    """Each fault with how often it was found and one place; none means that record and ledgers agree."""
    found = []
    for name, statement in FAULTS.items():
        rows = connection.execute(statement).fetchall()
        if rows:
            found.append(f"{name}: {len(rows)}, one is {', '.join(map(str, rows[0]))}")
    return found


def read_ledgers(connection: psycopg.Connection, files: Iterable[Path]) -> int:
    """Bring the ledgers beside the record, in a table of this session alone; answers how many lines they have."""
    entries = [json.loads(line) for file in files for line in file.read_text().splitlines()]
    connection.execute(
        "CREATE TEMP TABLE ledger (kind text, note uuid, part uuid, number int, digest text) ON COMMIT PRESERVE ROWS"
    )
    with connection.cursor() as cursor:
        cursor.executemany(
            "INSERT INTO ledger VALUES (%(kind)s, %(note)s, %(part)s, %(number)s, %(digest)s)",
            [{"part": None, "number": None, "digest": None} | entry for entry in entries],
        )
    return len(entries)


def unseen(connection: psycopg.Connection) -> list[str]:
    """Make each fault with the guards off, look, and take it back: the names of those that were not found."""
    missed = []
    for name, statement in MADE.items():
        with connection.transaction(force_rollback=True):
            connection.execute("SET LOCAL session_replication_role = replica")
            made = connection.execute(statement).rowcount
            if not made or not any(each.startswith(name) for each in faults(connection)):
                missed.append(name)
    return missed
