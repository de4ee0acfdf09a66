"""Who may do what: one table from action to roles, each with the relation that the right needs besides.

A right needs a role and a relation. Floors above add no rows of their own: their actions stand here as well.
"""

from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum
from uuid import UUID

from clinic.enums import Role


class Relation(StrEnum):
    """What ties a person to a row, beside her role."""

    ORGANIZATION = "organization"  # every row of her organization
    ON_TEAM = "on_team"  # episodes on whose care team she is today
    SUPERVISES = "supervises"  # episodes on whose care team an assistant is whom she supervises there today
    AUTHOR = "author"  # documents that she wrote or signed, for ever
    ASKED = "asked"  # documents whose co-signature waits, or waited, on her
    STATED = "stated"  # documents that she opened within the hour for a reason that she stated
    SELF = "self"  # her own row


class Action(StrEnum):
    """Each names what a view's method does; the scope of an application carries the same name's resource."""

    SEE_SELF = "self:read"
    CHANGE_SELF = "self:write"
    SEE_NOTICES = "notices:read"
    READ_NOTICES = "notices:write"
    SEE_ORGANIZATION = "organization:read"
    CHANGE_ORGANIZATION = "organization:write"
    SEE_STAFF = "staff:read"
    CHANGE_STAFF = "staff:write"
    SEE_SELF_GIVEN_RIGHTS = "self_given_rights:read"
    RESET_PINS = "pins:reset"
    SEE_SUPERVISION = "supervision:read"
    CHANGE_SUPERVISION = "supervision:write"
    SEE_CONTACTS = "supervisory_contacts:read"
    RECORD_CONTACTS = "supervisory_contacts:write"
    SEE_CLIENTS = "clients:read"
    CHANGE_CLIENTS = "clients:write"
    SEE_AGES = "ages:read"
    SEE_PRECAUTIONS = "precautions:read"
    CHANGE_PRECAUTIONS = "precautions:write"
    SEE_CONSENTS = "consents:read"
    CHANGE_CONSENTS = "consents:write"
    SEE_EPISODES = "episodes:read"
    CHANGE_EPISODES = "episodes:write"
    SEE_DIAGNOSES = "diagnoses:read"
    CHANGE_DIAGNOSES = "diagnoses:write"
    CHANGE_CARE_TEAM = "care_team:write"
    SEE_PLANS = "plans:read"
    WRITE_PLANS = "plans:write"
    SEE_GOALS = "goals:read"
    PROPOSE_GOALS = "goals:propose"
    WRITE_GOALS = "goals:write"
    SEE_VISITS = "visits:read"
    BOOK_VISITS = "visits:book"
    CONDUCT_VISITS = "visits:write"
    SEE_NOTES = "notes:read"
    WRITE_NOTES = "notes:write"
    SIGN_NOTES = "notes:sign"
    COSIGN_NOTES = "notes:cosign"
    READ_WITH_REASON = "document_readings:write"
    SEE_READINGS = "document_readings:read"
    OPEN_IN_EMERGENCY = "emergency_accesses:write"
    SEE_EMERGENCIES = "emergency_accesses:read"
    SEE_TEMPLATES = "note_templates:read"
    CHANGE_TEMPLATES = "note_templates:write"
    SEE_ACCESSES = "accesses:read"
    SEE_DISCLOSURES = "disclosures:read"
    RECORD_DISCLOSURES = "disclosures:write"
    CORRECT_NOTES = "notes:correct"
    SEE_CASELOAD = "caseload:read"
    SEND_BATCH = "batch:write"
    FOLLOW_CHANGES = "changes:read"
    SEE_DEADLINES = "deadlines:read"


R = Relation
TREATS = frozenset({R.ON_TEAM})
ANSWERS = frozenset({R.ON_TEAM, R.SUPERVISES})
READS = frozenset({R.ON_TEAM, R.AUTHOR})
READS_AND_ANSWERS = frozenset({R.ON_TEAM, R.SUPERVISES, R.AUTHOR, R.ASKED})
ALL = frozenset({R.ORGANIZATION})
OWN = frozenset({R.AUTHOR})
SELF = frozenset({R.SELF})
STATED = frozenset({R.STATED})

ASSISTANT, THERAPIST, ADMINISTRATOR, FRONT_DESK = (
    Role.ASSISTANT,
    Role.THERAPIST,
    Role.ADMINISTRATOR,
    Role.FRONT_DESK,
)

ACCESS: dict[Action, dict[Role, frozenset[Relation]]] = {
    Action.SEE_SELF: dict.fromkeys(Role, SELF),
    Action.CHANGE_SELF: dict.fromkeys(Role, SELF),
    Action.SEE_NOTICES: dict.fromkeys(Role, SELF),
    Action.READ_NOTICES: dict.fromkeys(Role, SELF),
    Action.SEE_ORGANIZATION: dict.fromkeys(Role, ALL),
    Action.CHANGE_ORGANIZATION: {ADMINISTRATOR: ALL},
    Action.SEE_STAFF: dict.fromkeys(Role, ALL),
    Action.CHANGE_STAFF: {ADMINISTRATOR: ALL},
    Action.SEE_SELF_GIVEN_RIGHTS: dict.fromkeys(Role, ALL),
    Action.RESET_PINS: {ADMINISTRATOR: ALL},
    Action.SEE_SUPERVISION: {ASSISTANT: ALL, THERAPIST: ALL, ADMINISTRATOR: ALL},
    Action.CHANGE_SUPERVISION: {ADMINISTRATOR: ALL},
    Action.SEE_CONTACTS: {ASSISTANT: SELF, THERAPIST: SELF, ADMINISTRATOR: ALL},
    Action.RECORD_CONTACTS: {ASSISTANT: SELF, THERAPIST: SELF},
    Action.SEE_CLIENTS: {ASSISTANT: TREATS, THERAPIST: ANSWERS, ADMINISTRATOR: ALL, FRONT_DESK: ALL},
    Action.CHANGE_CLIENTS: {THERAPIST: ANSWERS, ADMINISTRATOR: ALL, FRONT_DESK: ALL},
    Action.SEE_AGES: {ASSISTANT: TREATS, THERAPIST: ANSWERS},
    Action.SEE_PRECAUTIONS: {ASSISTANT: TREATS, THERAPIST: ANSWERS},
    Action.CHANGE_PRECAUTIONS: {ASSISTANT: TREATS, THERAPIST: ANSWERS},
    Action.SEE_CONSENTS: {ASSISTANT: TREATS, THERAPIST: ANSWERS, ADMINISTRATOR: ALL, FRONT_DESK: ALL},
    Action.CHANGE_CONSENTS: {THERAPIST: ANSWERS, ADMINISTRATOR: ALL, FRONT_DESK: ALL},
    Action.SEE_EPISODES: {ASSISTANT: TREATS, THERAPIST: ANSWERS, ADMINISTRATOR: ALL, FRONT_DESK: ALL},
    Action.CHANGE_EPISODES: {THERAPIST: ANSWERS, ADMINISTRATOR: ALL},
    Action.SEE_DIAGNOSES: {ASSISTANT: TREATS, THERAPIST: ANSWERS},
    Action.CHANGE_DIAGNOSES: {THERAPIST: ANSWERS},
    Action.CHANGE_CARE_TEAM: {THERAPIST: ANSWERS, ADMINISTRATOR: ALL},
    Action.SEE_PLANS: {ASSISTANT: TREATS, THERAPIST: ANSWERS},
    Action.WRITE_PLANS: {THERAPIST: ANSWERS},
    Action.SEE_GOALS: {ASSISTANT: TREATS, THERAPIST: ANSWERS},
    Action.PROPOSE_GOALS: {ASSISTANT: TREATS, THERAPIST: ANSWERS},
    Action.WRITE_GOALS: {THERAPIST: ANSWERS},
    Action.SEE_VISITS: {ASSISTANT: TREATS, THERAPIST: ANSWERS, ADMINISTRATOR: ALL, FRONT_DESK: ALL},
    Action.BOOK_VISITS: {ASSISTANT: TREATS, THERAPIST: ANSWERS, ADMINISTRATOR: ALL, FRONT_DESK: ALL},
    Action.CONDUCT_VISITS: {ASSISTANT: TREATS, THERAPIST: ANSWERS, ADMINISTRATOR: ALL, FRONT_DESK: ALL},
    Action.SEE_NOTES: {ASSISTANT: READS, THERAPIST: READS_AND_ANSWERS, ADMINISTRATOR: STATED},
    Action.WRITE_NOTES: {ASSISTANT: TREATS, THERAPIST: TREATS},
    Action.SIGN_NOTES: {ASSISTANT: OWN, THERAPIST: OWN},
    Action.COSIGN_NOTES: {THERAPIST: READS_AND_ANSWERS},
    Action.READ_WITH_REASON: {ADMINISTRATOR: ALL},
    Action.SEE_READINGS: {ASSISTANT: READS, THERAPIST: READS_AND_ANSWERS, ADMINISTRATOR: ALL},
    Action.OPEN_IN_EMERGENCY: {ASSISTANT: ALL, THERAPIST: ALL},
    Action.SEE_EMERGENCIES: {ASSISTANT: TREATS | SELF, THERAPIST: ANSWERS | SELF, ADMINISTRATOR: ALL},
    Action.SEE_TEMPLATES: {ASSISTANT: ALL, THERAPIST: ALL, ADMINISTRATOR: ALL},
    Action.CHANGE_TEMPLATES: {THERAPIST: ALL, ADMINISTRATOR: ALL},
    Action.SEE_ACCESSES: {ADMINISTRATOR: ALL},
    Action.SEE_DISCLOSURES: {THERAPIST: ANSWERS, ADMINISTRATOR: ALL},
    Action.RECORD_DISCLOSURES: {THERAPIST: ANSWERS, ADMINISTRATOR: ALL},
    Action.CORRECT_NOTES: {ASSISTANT: READS, THERAPIST: READS_AND_ANSWERS},
    Action.SEE_DEADLINES: {ASSISTANT: TREATS, THERAPIST: ANSWERS, ADMINISTRATOR: ALL},
    Action.SEE_CASELOAD: {ASSISTANT: TREATS, THERAPIST: ANSWERS, ADMINISTRATOR: ALL},
    Action.SEND_BATCH: dict.fromkeys(Role, SELF),
    Action.FOLLOW_CHANGES: dict.fromkeys(Role, SELF),
}

# What a system, which acts for nobody, can be bound to at the most: never a document's content.
SYSTEM_ACTIONS = frozenset(
    {
        Action.SEE_ORGANIZATION,
        Action.SEE_STAFF,
        Action.SEE_SUPERVISION,
        Action.SEE_CLIENTS,
        Action.SEE_EPISODES,
        Action.SEE_VISITS,
        Action.BOOK_VISITS,
        Action.SEE_CASELOAD,
    }
)


class ActsForNobody(Exception):
    """A system asked for what only a person does."""


@dataclass(frozen=True)
class Actor:
    """Who asks, and when: a person (or system) in one organization, in the roles of today, through an application."""

    organization_id: UUID
    staff_id: UUID | None
    user_id: UUID | None
    roles: frozenset[Role]
    today: date
    now: datetime
    application: str = "session"
    scopes: frozenset[str] | None = None  # None: the browser session, not narrowed
    system_actions: frozenset[str] = field(default_factory=frozenset)

    @property
    def is_system(self) -> bool:
        return self.staff_id is None

    @property
    def person(self) -> UUID:
        """Her own staff id, for acts that need somebody who did them; a system is refused."""
        if self.staff_id is None:
            raise ActsForNobody
        return self.staff_id


def relations(actor: Actor, action: Action) -> frozenset[Relation]:
    """The relations by which this actor may do it; empty when none of today's roles may at all."""
    if actor.scopes is not None and str(action) not in actor.scopes:
        return frozenset()
    if actor.is_system:
        return ALL if action in SYSTEM_ACTIONS and str(action) in actor.system_actions else frozenset()
    granted = [ACCESS[action].get(role, frozenset()) for role in actor.roles]
    return frozenset().union(*granted)


def may(actor: Actor, action: Action) -> bool:
    return bool(relations(actor, action))
