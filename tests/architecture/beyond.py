"""Rows that somebody does not reach: another child's, the same child's other episode, another organization's.

Each column of text holds a word found nowhere else, so that a trace of one anywhere is seen.
"""

import re
from collections.abc import Iterable
from typing import Any

from django.db import models

from clinic import models as c
from goals import models as g
from scheduling import models as s
from tests.architecture.clinic_of_nine import Clinic
from tests.architecture.world import World, every_model, is_scoped, run

WORD = re.compile(r"[0-9a-f]{12} ")  # as the world fills a column of text
CHILD, OTHER_EPISODE, THEIR_SUPERVISOR = "another child", "the other episode", "their supervisor"
# What everybody of an organization sees; it is there before anybody is asked.
SHARED = (c.Site, c.Room, c.Staff, c.StaffRole, c.Credential, c.ContractedHours, g.OrderedScale, s.NoteTemplate)
# Out of a clinician's reach, and in that of whoever sees the organization's schedule, names and contacts.
OF_THE_CHILD = (c.Client, c.Contact, c.ContactAuthority, c.CourtOrder, c.EmergencyAccess)
SCHEDULE = (
    c.Episode,
    c.EpisodeChange,
    c.CareTeam,
    c.Consent,
    c.Disclosure,
    c.SelfGivenRight,
    c.SupervisoryContact,
    c.SupervisoryContactClient,
    s.Visit,
    s.Participation,
    s.ParticipationChange,
    s.Booking,
    s.ParticipationNote,
    c.DocumentReading,
)
# Out of reach of whoever is no clinician, too.
CLINICAL_OF_THE_CHILD = (c.Precaution, c.Notice)
CLINICAL = (
    c.EpisodeDiagnosis,
    c.Document,
    c.DocumentVersion,
    c.Signature,
    c.DocumentFlag,
    c.Verdict,
    c.VersionOpening,
    g.PlanPeriod,
    g.Certification,
    g.Goal,
    g.GoalPhase,
    g.Clause,
    g.GoalChange,
    g.Measurement,
    g.GoalProgress,
    g.GoalProgressHistory,
    g.ReviewItem,
    s.PlannedGoal,
)
# What nobody's door shows, or what requests themselves leave.
KEPT_INSIDE = {
    c.AuditEvent,
    c.AuditEventClient,
    c.ChangeFeed,
    c.Idempotency,
    c.OutboxHandling,
    c.OutboxMessage,
    c.SigningPin,
    c.SystemPrincipal,
}
ELSEWHERE = (*SHARED, *OF_THE_CHILD, *SCHEDULE, *CLINICAL_OF_THE_CHILD, *CLINICAL, c.Supervision, c.Succession)


def add_shared(clinic: Clinic) -> None:
    """The people and places with which the rows out of reach go; the other episode is the same child's."""
    for who in (CHILD, OTHER_EPISODE):
        add(clinic.raw, SHARED, who)
    clinic.raw.row(c.Staff, THEIR_SUPERVISOR)
    clinic.raw.rows[c.Client, OTHER_EPISODE] = clinic.child.pk


def add_schedule(clinic: Clinic) -> None:
    """Two episodes out of every clinician's reach, with all that is not clinical."""
    add(clinic.raw, (*OF_THE_CHILD, *SCHEDULE), CHILD)
    add(clinic.raw, SCHEDULE, OTHER_EPISODE)


def add_clinical(clinic: Clinic) -> None:
    add(clinic.raw, (*CLINICAL_OF_THE_CHILD, *CLINICAL), CHILD)
    add(clinic.raw, CLINICAL, OTHER_EPISODE)


def add_elsewhere() -> dict[Any, Any]:
    """Another organization, with a row of everything; its rows by table and name."""
    raw = World()
    add(raw, ELSEWHERE, "one")
    return raw.rows


def add(raw: World, tables: Iterable[type[models.Model]], who: str) -> None:
    for table in tables:
        if (table, who) not in raw.rows:
            raw.rows[table, who] = raw.add(table, who, **_theirs(raw, table, who))


def _theirs(raw: World, table: type[models.Model], who: str) -> dict[str, Any]:
    """What ties a row to this child and to nobody who is asked."""
    if table in (c.Consent, c.SelfGivenRight):
        return {"episode": raw.row(c.Episode, who)}
    if table is c.EmergencyAccess:
        return {"client": raw.row(c.Client, who)}
    if table is c.SupervisoryContact:
        return {"supervisor": raw.row(c.Staff, THEIR_SUPERVISOR)}
    return {"by": raw.row(c.Staff, THEIR_SUPERVISOR)} if table is c.Verdict else {}


def not_asked_about() -> list[str]:
    """Tables of organizations of which no row is out of anybody's reach here."""
    known = {*ELSEWHERE, *KEPT_INSIDE}
    return [model._meta.label for model in every_model() if is_scoped(model) and model not in known]


def words_of(tables: Iterable[type[models.Model]], keys: Iterable[Any]) -> set[str]:
    """The words that stand in these rows' columns of free text, as the world filled them."""
    found: set[str] = set()
    wanted = list(keys)
    for table in tables:
        columns = [field.column for field in table._meta.concrete_fields if _is_free_text(field)]
        if columns:
            listed = ", ".join(f'"{column}"' for column in columns)
            key = table._meta.pk.column
            rows = run(f'SELECT {listed} FROM {table._meta.db_table} WHERE "{key}" = ANY(%s)', [wanted])
            found |= {word for row in rows for word in row if word and WORD.match(word)}
    return found


def _is_free_text(field: Any) -> bool:
    return isinstance(field, models.CharField | models.TextField) and not field.choices
