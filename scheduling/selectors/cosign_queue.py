"""The co-sign queue: what waits for one supervisor, or for nobody. Hand-written SQL, reach included."""

from datetime import datetime
from typing import Any
from uuid import UUID

from clinic.models import Document
from clinic.rules.access import Action, Actor
from clinic.rules.flags import MOST_SEVERE_FIRST, in_words
from scheduling.selectors.desk import Rows, reached, read_all

QUEUE_KEY = ("asked_at", "rank", "cosign_due_at", "document")
OF_THE_ORDER = ("asked_at", "rank")
NO_FLAG = len(MOST_SEVERE_FIRST)
SEVERITY = "CASE f.severity {} END".format(
    " ".join(f"WHEN '{severity.value}' THEN {place}" for place, severity in enumerate(MOST_SEVERE_FIRST))
)

HERS = """
SELECT d.id FROM clinic_document d
WHERE d.cosign_owner_id = %(staff)s AND d.state = 'signed' AND d.requires_cosignature"""

# Whoever covers today sees what was done on the days that she covers, of the children in her reach.
COVERED = """
SELECT d.id FROM clinic_supervision held
JOIN clinic_document d ON d.author_id = held.assistant_id AND d.state = 'signed' AND d.requires_cosignature
  AND d.service_date >= held.starts_on AND (held.ends_on IS NULL OR d.service_date <= held.ends_on)
JOIN clinic_episode e ON e.id = d.episode_id AND held.scope_id IN (e.id, e.site_id, e.organization_id)
WHERE held.supervisor_id = %(staff)s AND held.kind = 'covering' AND held.starts_on <= %(today)s
  AND (held.ends_on IS NULL OR held.ends_on >= %(today)s) AND d.author_id <> %(staff)s AND d.episode_id IN ({reach})"""

NOBODYS = """
SELECT d.id FROM clinic_document d
WHERE d.cosign_owner_id IS NULL AND d.state = 'signed' AND d.requires_cosignature
  AND d.organization_id = %(organization)s"""

# Overdue first, then the gravest flag, then what is due soonest. What is overdue is asked of the moment at which the
# first page was read, so that the pages that follow neither repeat nor miss a row that became so meanwhile.
QUEUE = """
WITH page AS (
    SELECT w.* FROM (
        SELECT d.*, CASE WHEN d.cosign_due_at <= %(asked_at)s THEN 0 ELSE {no_flag} + 1 END + COALESCE(
            (SELECT min({severity}) FROM clinic_documentflag f WHERE f.version_id = d.current_version_id), {no_flag}
        ) AS rank
        FROM clinic_document d WHERE d.organization_id = %(organization)s AND d.id IN ({waiting})) w
    {beyond} ORDER BY w.rank {direction}, w.cosign_due_at {direction}, w.id {direction} LIMIT %(limit)s)
SELECT d.id AS document, d.kind, d.version, d.service_date, d.cosign_due_at, d.cosign_due_at <= %(now)s AS overdue,
       d.episode_id AS episode, d.client_id AS client, c.given_name, c.family_name, d.author_id AS author,
       a.printed_name AS author_name, d.cosign_owner_id AS owner, v.number, v.digest, v.frozen_at AS signed_at,
       flagged.count AS flags, flagged.told AS flagged, opened.at AS opened_at,
       opened.at IS NOT NULL AND flagged.count > opened.flags AS flagged_since_opened,
       returned.reason AS returned_because, %(asked_at)s::timestamptz AS asked_at, d.rank
FROM page d
JOIN clinic_documentversion v ON v.id = d.current_version_id
JOIN clinic_client c ON c.id = d.client_id
JOIN clinic_staff a ON a.id = d.author_id
CROSS JOIN LATERAL (
    SELECT count(*), json_agg(json_build_object('check', f.check_name, 'severity', f.severity, 'sentence', f.sentence)
                              ORDER BY {severity}, f.check_name, f.subject) AS told
    FROM clinic_documentflag f WHERE f.version_id = v.id) flagged
CROSS JOIN LATERAL (
    SELECT min(o.opened_at) AS at, max(o.flags_shown) AS flags
    FROM clinic_versionopening o WHERE o.version_id = v.id AND o.staff_id = %(staff)s) opened
LEFT JOIN clinic_documentversion before ON before.document_id = d.id AND before.number = v.number - 1
LEFT JOIN clinic_verdict returned ON returned.version_id = before.id
ORDER BY d.rank {direction}, d.cosign_due_at {direction}, d.id {direction}"""


def queue_page(
    actor: Actor, *, now: datetime, unassigned: bool, key: list[Any] | None, backwards: bool, limit: int
) -> Rows:
    """Signed versions that wait for this supervisor (or for nobody), what needs her most before the others."""
    asked_at, *beyond = key or [now]
    waiting, params = _waiting(actor, unassigned=unassigned)
    params |= {
        "asked_at": asked_at,
        "now": now,
        "limit": limit,
        "staff": actor.staff_id,
        "organization": actor.organization_id,
        "today": actor.today,
        **{name: value for name, value in zip(("rank", "due", "id"), beyond, strict=False)},
    }
    sign = "<" if backwards else ">"
    sql = QUEUE.format(
        no_flag=NO_FLAG,
        severity=SEVERITY,
        waiting=waiting,
        beyond=f"WHERE (w.rank, w.cosign_due_at, w.id) {sign} (%(rank)s, %(due)s, %(id)s)" if beyond else "",
        direction="DESC" if backwards else "ASC",
    )
    rows = read_all(sql, params)
    for row in rows:
        row["flagged"] = [_told(flag) for flag in row["flagged"] or []]
    return rows


def _waiting(actor: Actor, *, unassigned: bool) -> tuple[str, dict[str, Any]]:
    if unassigned:
        return NOBODYS, {}
    reach, params = reached(actor, Action.COSIGN_NOTES)
    named = {f"reach_{place}": value for place, value in enumerate(params)}
    return HERS + "\nUNION" + COVERED.format(reach=reach % tuple(f"%({name})s" for name in named)), named


def _told(flag: dict[str, str]) -> dict[str, str]:
    return {**flag, "sentence": flag["sentence"] or in_words(flag["check"])}


def document_to_decide(actor: Actor, document_id: UUID) -> Document | None:
    """A document of any kind in her reach, locked, or None."""
    return (
        Document.objects.visible_to(actor, Action.COSIGN_NOTES)
        .filter(pk=document_id)
        .select_related("organization", "episode__site")
        .select_for_update(of=("self",), no_key=True)
        .first()
    )
