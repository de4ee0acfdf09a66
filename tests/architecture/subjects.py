"""For every route the row that it is asked about, and a body that it would take."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import models
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange

from clinic import models as c
from clinic.api.examples import EXAMPLES
from clinic.rules.canonical import digest, freeze
from clinic.services.pin_resets import code_of
from goals import models as g
from goals.services import progress
from scheduling import models as s
from tests import factories as make
from tests.architecture.clinic_of_nine import PASSWORD, PIN, Clinic
from tests.architecture.doors import BASE, NEW, every_door
from tests.architecture.world import LATER, NOON, update

Maker = Callable[[Clinic, str], Any]
VISIT_DAY = date(2026, 3, 2)
THIS_MORNING = datetime(2026, 4, 15, 14, 45, tzinfo=UTC)


@dataclass(frozen=True)
class Ask:
    """One request: where, with what, and the key by which a list's answer shows that it holds the row."""

    url: str
    body: Any
    key: str


def row(model: type[models.Model], **changes: Any) -> Maker:
    """The child's one row of this table, or another child's of the name `who`."""

    def made(clinic: Clinic, who: str) -> Any:
        key = clinic.raw.row(model, who)
        if changes:
            update(model, key, **changes)
        return key

    return made


def after(first: type[models.Model], then: Maker) -> Maker:
    """Make a row of this table first, on which the other's showing rests."""

    def made(clinic: Clinic, who: str) -> Any:
        clinic.raw.row(first, who)
        return then(clinic, who)

    return made


def goal(**changes: Any) -> Maker:
    """A goal with the phase and the clause that a proposal makes, counted by its episode."""
    numbered = after(g.Clause, row(c.Episode, next_goal_number=2))
    return lambda clinic, who: numbered(clinic, who) and row(g.Goal, **changes)(clinic, who)


def booked(**changes: Any) -> Maker:
    """A participation in a visit for which the child's assistant is booked."""
    return after(s.Booking, row(s.Participation, **changes))


def held(clinic: Clinic, who: str) -> Any:
    """A visit that took place, of which no note was signed."""
    booked(status="fulfilled", minutes=45, arrived_at=NOON, left_at=LATER)(clinic, who)
    return row(s.Visit, status="fulfilled")(clinic, who)


def called_off(clinic: Clinic, who: str) -> Any:
    facts = {"cancelled_at": NOON, "cancelled_by": clinic.people["assistant"].pk, "cancel_cause": "client"}
    return booked(status="noshow", **facts)(clinic, who)


def to_plan(clinic: Clinic, who: str) -> Any:
    """A participation still to come, and a goal to work on in it."""
    goal(lifecycle="active", starts_on=VISIT_DAY)(clinic, who)
    return booked()(clinic, who)


def computed(clinic: Clinic, who: str) -> Any:
    """A goal whose findings stand as the engine writes them."""
    key = goal()(clinic, who)
    progress.recompute(key, now=LATER)
    return key


def draft(clinic: Clinic, who: str) -> Any:
    """A note that its author has begun and not signed."""
    booked(status="fulfilled", minutes=45, arrived_at=NOON, left_at=LATER)(clinic, who)
    clinic.raw.row(s.ParticipationNote, who)
    return row(c.Document, draft={"minutes": 45, "objective": "Fastened four buttons"})(clinic, who)


def signed(clinic: Clinic, who: str) -> Any:
    """A signed note that awaits its supervisor's co-signature."""
    return opened(clinic, who, sign(clinic, who, draft(clinic, who), cosign_owner=clinic.people["supervisor"].pk))


def misplaced(clinic: Clinic, who: str) -> Any:
    """A signed note, and another visit of the child with the same assistant to which it belongs."""
    note = signed(clinic, who)
    visit = clinic.raw.rows[s.Visit, who] = clinic.raw.add(s.Visit, who)
    clinic.raw.rows[s.Participation, who] = clinic.raw.add(s.Participation, who, visit=visit)
    clinic.raw.add(s.Booking, who, visit=visit, during=DateTimeTZRange(LATER, LATER + timedelta(minutes=45)))
    return note


def ownerless(clinic: Clinic, who: str) -> Any:
    return sign(clinic, who, draft(clinic, who))


def addendum(clinic: Clinic, who: str) -> Any:
    """A later addition to a signed note, begun by its author."""
    note = signed(clinic, who)
    return clinic.raw.add(
        c.Document, who, kind="addendum", amends=note, draft={"amends": str(note), "text": "Left hand"}
    )


def signed_addendum(clinic: Clinic, who: str) -> Any:
    return opened(clinic, who, sign(clinic, who, addendum(clinic, who), cosign_owner=clinic.people["supervisor"].pk))


def opened(clinic: Clinic, who: str, document: Any) -> Any:
    """Its supervisor has fetched it."""
    version = c.Document.objects.get(pk=document).current_version_id
    clinic.raw.add(c.VersionOpening, who, version=version, staff=clinic.people["supervisor"].pk, flags_shown=0)
    return document


def sign(clinic: Clinic, who: str, document: Any, **changes: Any) -> Any:
    """Freeze what is written in the draft, under its author's signature."""
    content = freeze({"body": c.Document.objects.get(pk=document).draft})
    version = clinic.raw.add(c.DocumentVersion, who, document=document, content=content, digest=digest(content))
    clinic.raw.add(c.Signature, who, version=version, digest=digest(content))
    awaiting = {"state": "signed", "draft": None, "requires_cosignature": True, "cosign_due_at": LATER}
    update(c.Document, document, current_version=version, **awaiting, **changes)
    return document


def emergency(*, chosen: bool = True) -> Maker:
    """An emergency access of the child's assistant, a quarter of an hour ago."""

    def made(clinic: Clinic, who: str) -> Any:
        child = clinic.raw.row(c.Client, who) if chosen else None
        ends_at = THIS_MORNING + timedelta(hours=1)
        return clinic.raw.add(c.EmergencyAccess, who, client=child, begun_at=THIS_MORNING, ends_at=ends_at)

    return made


def leaving(clinic: Clinic, who: str) -> Any:
    """A handover of one who leaves at the end of the month."""
    key = clinic.raw.row(c.Succession, who)
    update(c.Staff, clinic.raw.row(c.Staff, who), left_on=date(2026, 4, 30))
    return key


def looked_at(clinic: Clinic, who: str) -> Any:
    """A child whose record somebody has seen."""
    child = clinic.raw.row(c.Client, who)
    clinic.raw.rows[c.AuditEvent, who] = seen(clinic, who)
    return child


def seen(clinic: Clinic, who: str = "one") -> Any:
    touched = {"client_ids": [clinic.raw.row(c.Client, who)], "episode_ids": [clinic.raw.row(c.Episode, who)]}
    return clinic.raw.add(c.AuditEvent, who, outcome="done", **touched)


ROWS: dict[str, Maker] = {
    "care-team": row(c.CareTeam),
    "certifications": row(g.Certification),
    "clients": row(c.Client),
    "consents": after(c.ContactAuthority, row(c.Consent)),
    "contact-authorities": row(c.ContactAuthority),
    "contacts": after(c.ContactAuthority, row(c.Contact)),
    "court-orders": after(c.ContactAuthority, row(c.CourtOrder)),
    "contracted-hours": row(c.ContractedHours),
    "credentials": row(c.Credential),
    "deadlines": row(s.Deadline),
    "documents": signed,
    "disclosures": row(c.Disclosure),
    "document-readings": row(c.DocumentReading),
    "supervisory-contacts": row(c.SupervisoryContact),
    "emergency-accesses": emergency(),
    "episode-diagnoses": row(c.EpisodeDiagnosis),
    "episodes": row(c.Episode),
    "goals": goal(),
    "note-templates": row(s.NoteTemplate),
    "notes": signed,
    "addenda": signed_addendum,
    "notices": row(c.Notice),
    "participations": booked(),
    "plan-periods": row(g.PlanPeriod),
    "precautions": row(c.Precaution),
    "reporting-periods": row(s.ReportingPeriod),
    "review-items": row(g.ReviewItem),
    "rooms": row(c.Room),
    "scales": row(g.OrderedScale),
    "self-given-rights": row(c.SelfGivenRight),
    "sites": row(c.Site),
    "staff": row(c.Staff),
    "staff-roles": row(c.StaffRole),
    "successions": row(c.Succession),
    "supervisions": row(c.Supervision),
    "visits": after(s.Booking, after(s.Participation, row(s.Visit))),
}

# Where the act asks for a row in another state than the resource's own.
STATES: dict[str, Maker] = {
    "addenda/<uuid:id>/": addendum,
    "clients/<uuid:id>/accesses/": looked_at,
    "clients/<uuid:id>/disclosures/": after(c.Disclosure, row(c.Client)),
    "addenda/<uuid:id>/sign/": addendum,
    "successions/": leaving,
    "emergency-accesses/<uuid:id>/choose/": emergency(chosen=False),
    "episodes/<uuid:id>/cancel/": row(c.Episode, status="planned"),
    "episodes/<uuid:id>/hold/": row(c.Episode, status="active"),
    "episodes/<uuid:id>/open/": row(c.Episode, status="planned"),
    "episodes/<uuid:id>/resume/": row(c.Episode, status="onhold"),
    "goals/": goal(),
    "goals/<uuid:id>/activate/": goal(lifecycle="accepted"),
    "goals/<uuid:id>/complete/": goal(lifecycle="active", starts_on=VISIT_DAY),
    "goals/<uuid:id>/hold/": goal(lifecycle="active", starts_on=VISIT_DAY),
    "goals/<uuid:id>/achievement/": goal(lifecycle="active", starts_on=VISIT_DAY),
    "goals/<uuid:id>/phases/": goal(lifecycle="active", starts_on=VISIT_DAY),
    "goals/<uuid:id>/changes/": after(g.GoalChange, goal()),
    "goals/<uuid:id>/measurements/": after(g.Measurement, goal()),
    "goals/<uuid:id>/progress-history/": after(g.GoalProgressHistory, goal()),
    "goals/<uuid:id>/progress/": computed,
    "participations/<uuid:id>/plan/": to_plan,
    "participations/<uuid:id>/finish/": booked(status="checked-in", arrived_at=NOON),
    "participations/<uuid:id>/reinstate/": called_off,
    "participations/<uuid:id>/undo/": booked(status="checked-in", arrived_at=NOON),
    "participations/<uuid:id>/changes/": after(s.ParticipationChange, booked()),
    "visits/<uuid:id>/correct/": held,
    "goals/<uuid:id>/resume/": goal(lifecycle="on-hold", starts_on=VISIT_DAY),
    "notes/<uuid:id>/": draft,
    "notes/<uuid:id>/checks/": draft,
    "notes/<uuid:id>/move/": misplaced,
    "notes/<uuid:id>/sign/": draft,
    "staff/<uuid:id>/supervision-ledger/": row(c.Staff),
    "staff/<uuid:id>/pin-reset/": row(c.Staff),
    "staff/<uuid:id>/roles/": after(c.StaffRole, row(c.Staff)),
    "batch/": row(c.Staff),
    "caseload/": row(c.Episode),
    "changes/": row(c.Staff),
    "cosign-queue/": signed,
    "cosign-queue/cosign/": signed,
    "cosign-queue/unassigned/": ownerless,
    "day/": booked(),
    "me/": row(c.Staff),
    "me/email/": row(c.Staff),
    "me/password/": row(c.Staff),
    "me/pin/reset/": row(c.PinReset),
    "me/signatures/": row(c.Signature),
    "me/pin/": row(c.Staff),
    "organization/": row(c.Organization),
}
# Whose key a list's answer shows, where it is not the key of the row in the path.
SHOWN: dict[str, Maker] = {
    "clients/<uuid:id>/accesses/": row(c.AuditEvent),
    "clients/<uuid:id>/disclosures/": row(c.Disclosure),
    "goals/<uuid:id>/changes/": row(g.GoalChange),
    "goals/<uuid:id>/measurements/": row(g.Measurement),
    "goals/<uuid:id>/progress-history/": row(g.GoalProgressHistory),
    "participations/<uuid:id>/changes/": row(s.ParticipationChange),
    "notes/<uuid:id>/versions/": lambda clinic, who: current_digest(clinic.raw.row(c.Document, who)),
    "staff/<uuid:id>/roles/": row(c.StaffRole),
}
QUERIES = {
    "day/": "?date=2026-03-03",
    "staff/<uuid:id>/supervision-ledger/": "?starts_on=2026-03-01&ends_on=2026-03-31",
}
# What the documented example says otherwise than this row, on this day, needs.
BODIES: dict[str, dict[str, Any]] = {
    "PUT clients/<uuid:id>/": {"gestation_weeks": None, "gestation_days": None},
    "POST batch/": {
        "operations": [{"key": "a-key-of-its-own", "method": "POST", "path": "/api/v1/me/pin/", "body": {}}]
    },
    "POST episodes/<uuid:id>/cancel/": {"on": "2026-04-01"},
    "POST episodes/<uuid:id>/discharge/": {"on": "2026-04-01"},
    "POST episodes/<uuid:id>/hold/": {"on": "2026-04-01"},
    "POST me/email/": {"password": PASSWORD},
    "POST me/password/": {"password": PASSWORD},
    "POST me/pin/reset/": {"password": PASSWORD},
    "POST me/pin/": {"password": PASSWORD, "current_pin": PIN},
    "POST participations/<uuid:id>/check-in/": {"arrived_at": NOON.isoformat()},
    "POST participations/<uuid:id>/finish/": {"left_at": LATER.isoformat()},
    "POST precautions/<uuid:id>/lift/": {"lifted_on": "2026-04-01"},
}
# One more row of a list that hangs on the row in the path.
MORE: dict[str, Callable[[Clinic, int], Any]] = {
    "clients/<uuid:id>/accesses/": lambda clinic, n: seen(clinic),
    "clients/<uuid:id>/disclosures/": lambda clinic, n: clinic.raw.add(c.Disclosure),
    "goals/<uuid:id>/changes/": lambda clinic, n: clinic.raw.add(g.GoalChange),
    "goals/<uuid:id>/measurements/": lambda clinic, n: clinic.raw.add(g.Measurement, slot=n),
    "goals/<uuid:id>/progress-history/": lambda clinic, n: clinic.raw.add(g.GoalProgressHistory, number=n),
    "me/signatures/": lambda clinic, n: next_version(clinic, n),
    "notes/<uuid:id>/versions/": lambda clinic, n: next_version(clinic, n),
    "participations/<uuid:id>/changes/": lambda clinic, n: clinic.raw.add(s.ParticipationChange),
    "staff/<uuid:id>/roles/": lambda clinic, n: clinic.raw.add(
        c.StaffRole, starts_on=date(2030 + n, 1, 1), ends_on=date(2030 + n, 12, 31), role="therapist"
    ),
}
HERS = {"care-team", "notices", "supervisory-contacts"}  # rows that are in her reach because they name her
# Members of a body that name a row, by the row that they are given.
NAMED: dict[str, type[models.Model]] = {
    "home_site": c.Site,
    "goal": g.Goal,
    "goals": g.Goal,
    "site": c.Site,
    "rooms": c.Room,
    "client": c.Client,
    "episode": c.Episode,
    "staff": c.Staff,
    "assistant": c.Staff,
    "former": c.Staff,
    "contact": c.Contact,
    "given_by": c.Contact,
    "revoked_by": c.Contact,
    "scale": g.OrderedScale,
    "plan_period": g.PlanPeriod,
    "participation": s.Participation,
    "amends": c.Document,
}
PEOPLE = {"supervisor": "supervisor", "successor": "elsewhere"}


def maker_of(route: str) -> Maker:
    made = STATES.get(route) or ROWS.get(route.split("/")[0])
    assert made, f"no row is known for {route}: say in tests/architecture/subjects.py how to make one"
    return made


def ask(clinic: Clinic, method: str, route: str, *, who: str = "one") -> Ask:
    """A well-formed request of this method at this route, about the child's row; NEW puts one under another id."""
    key = maker_of(route)(clinic, who)
    shown = SHOWN[route](clinic, who) if route in SHOWN else key
    form = every_door()[route].inputs.get("PUT" if method == NEW else method)
    body = filled(EXAMPLES[form.__name__], clinic, who) if form else None
    if isinstance(body, dict):
        body |= BODIES.get(f"{method} {route}", {})
        body |= {name: current_digest(key) for name in body if name == "digest"}
        body |= {name: PIN for name in body if name == "pin"}
        body |= {name: code_of(key) for name in body if name == "code" and route == "me/pin/reset/"}
        body |= {name: [{"document": str(key), "digest": current_digest(key)}] for name in body if name == "items"}
    named = make.new_id() if method == NEW else str(key)
    url = f"/{BASE}{route}".replace("<uuid:id>", named) + QUERIES.get(route, "")
    return Ask(url=url, body=body, key=str(shown))


def filled(example: Any, clinic: Clinic, who: str, name: str = "") -> Any:
    """The documented example with real rows where it names rows."""
    if isinstance(example, dict):
        return {member: filled(value, clinic, who, member) for member, value in example.items()}
    if isinstance(example, list):
        return [filled(value, clinic, who, name) for value in example]
    if not is_id(example):
        return example
    if name in PEOPLE:
        return str(clinic.people[PEOPLE[name]].pk)
    return str(clinic.raw.row(NAMED[name], who)) if name in NAMED else make.new_id()


def is_id(value: Any) -> bool:
    try:
        return isinstance(value, str) and bool(UUID(value))
    except ValueError:
        return False


def one_more(clinic: Clinic, route: str, number: int) -> None:
    """One more row for the list at this route, in reach of everybody who reaches the child's."""
    if route in MORE:
        MORE[route](clinic, number)
        return
    who = f"another {number}"
    if route.split("/")[0] in HERS:
        clinic.raw.rows[c.Staff, who] = clinic.people["assistant"].pk
    maker_of(route)(clinic, who)
    if (c.Client, who) in clinic.raw.rows and (c.CareTeam, who) not in clinic.raw.rows:
        clinic.raw.add(c.CareTeam, who, staff=clinic.people["assistant"].pk)


def next_version(clinic: Clinic, number: int) -> None:
    note = clinic.raw.row(c.Document)
    content = freeze({"body": {"objective": f"Counted again, {number}"}})
    version = clinic.raw.add(c.DocumentVersion, document=note, number=number, content=content, digest=digest(content))
    clinic.raw.add(c.Signature, version=version)


def current_digest(document: Any) -> str:
    """Of the version that a supervisor would have read."""
    return c.Document.objects.get(pk=document).current_version.digest
