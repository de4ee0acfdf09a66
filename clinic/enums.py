"""The words of the ground floor. Where HL7 FHIR has the list, its codes as they stand."""

from enum import StrEnum


class Role(StrEnum):
    """A staff member holds a set of these, each from a day to a day."""

    ASSISTANT = "assistant"
    THERAPIST = "therapist"
    ADMINISTRATOR = "administrator"
    FRONT_DESK = "front_desk"


class Setting(StrEnum):
    OUTPATIENT = "outpatient"
    SCHOOL = "school"
    EARLY_INTERVENTION = "early_intervention"
    HOME = "home"


class RecordRegime(StrEnum):
    """Under which law the record is kept: this decides who may have it disclosed."""

    HEALTH = "health_record"
    EDUCATION = "education_record"


class EpisodeStatus(StrEnum):
    """HL7 FHIR episode-of-care-status, those in use."""

    PLANNED = "planned"
    ACTIVE = "active"
    ON_HOLD = "onhold"
    FINISHED = "finished"
    CANCELLED = "cancelled"


class Discipline(StrEnum):
    OCCUPATIONAL_THERAPY = "occupational_therapy"


class CredentialKind(StrEnum):
    LICENCE = "licence"
    CERTIFICATION = "certification"
    REGISTRATION = "registration"


class Right(StrEnum):
    """What a contact may decide, know or do for a child, and what a court may take."""

    CONSENT_TO_CARE = "consent_to_care"
    EDUCATIONAL_DECISIONS = "educational_decisions"
    INFORMATION = "information"
    PICK_UP = "pick_up"
    EMERGENCY_CONTACT = "emergency_contact"


class AuthorityKind(StrEnum):
    """By what a contact stands beside a child: a right, or none, which lets her do nothing."""

    CONSENT_TO_CARE = "consent_to_care"
    EDUCATIONAL_DECISIONS = "educational_decisions"
    INFORMATION = "information"
    PICK_UP = "pick_up"
    EMERGENCY_CONTACT = "emergency_contact"
    NONE = "none"


class ContactChannel(StrEnum):
    """By which a contact has agreed to be reached."""

    PHONE = "phone"
    TEXT = "text"
    EMAIL = "email"
    POST = "post"


class ConsentKind(StrEnum):
    EVALUATE = "evaluate"
    TREAT = "treat"
    VIDEO = "video"
    RELEASE = "release"
    PHOTO = "photo"
    MESSAGES = "messages"


class Relationship(StrEnum):
    PARENT = "parent"
    GUARDIAN = "guardian"
    FOSTER_PARENT = "foster_parent"
    RELATIVE = "relative"
    TEACHER = "teacher"
    PHYSICIAN = "physician"
    OTHER = "other"


class PrecautionKind(StrEnum):
    POSITIONING = "positioning"
    LOADING = "loading"
    SEIZURE = "seizure"
    SEIZURE_PLAN = "seizure_plan"  # what is done in a seizure, in which order, and when help is called
    ALLERGY = "allergy"
    FEEDING = "feeding"
    ELOPEMENT = "elopement"
    OTHER = "other"


class PrecautionSource(StrEnum):
    """Who set a precaution, and who may lift it."""

    PHYSICIAN = "physician"
    THERAPIST = "therapist"
    FAMILY = "family"
    SCHOOL_NURSE = "school_nurse"


class CareRole(StrEnum):
    TREATING = "treating"
    COVERING = "covering"


class CareSource(StrEnum):
    """What put somebody on a care team."""

    ASSIGNED = "assigned"
    BOOKING = "booking"


class ScopeKind(StrEnum):
    """How far a supervision assignment reaches, widest first."""

    ORGANIZATION = "organization"
    SITE = "site"
    EPISODE = "episode"


class SupervisionKind(StrEnum):
    PRIMARY = "primary"
    COVERING = "covering"


class ContactMedium(StrEnum):
    IN_PERSON = "in_person"
    VIDEO = "video"
    PHONE = "phone"
    WRITTEN = "written"


class DocumentKind(StrEnum):
    VISIT_NOTE = "visit_note"
    ADDENDUM = "addendum"


class DocumentState(StrEnum):
    DRAFT = "draft"
    SIGNED = "signed"
    RETURNED = "returned"
    COSIGNED = "cosigned"
    ENTERED_IN_ERROR = "entered-in-error"


class SignatureMeaning(StrEnum):
    """21 CFR 11.50(a)(3): what a signature means is part of it."""

    AUTHORSHIP = "authorship"
    COSIGNATURE = "cosignature"


class VerdictOutcome(StrEnum):
    COSIGNED = "cosigned"
    RETURNED = "returned"


class FlagSeverity(StrEnum):
    NOTICE = "notice"
    WARNING = "warning"


class Outcome(StrEnum):
    """How a request that touched the record ended."""

    DONE = "done"
    REFUSED = "refused"
    FAILED = "failed"


class NoticeKind(StrEnum):
    """What somebody is told of. A word, never a sentence: a new kind needs no migration."""

    PIN_RESET = "pin_reset"
    SELF_GIVEN_RIGHT = "self_given_right"
    SECOND_OPEN_EPISODE = "second_open_episode"  # entered by somebody who could not see the first
    EMERGENCY_ACCESS = "emergency_access"
    EMERGENCY_REASON_OWED = "emergency_reason_owed"
    EMERGENCY_REASON_OVERDUE = "emergency_reason_overdue"
    DOCUMENT_READ = "document_read"  # somebody who does not treat read it, and said why
    SIGNATURES_SINCE_PIN_RESET = "signatures_since_pin_reset"
    ENTERED_IN_ERROR = "entered_in_error"


class GivenRight(StrEnum):
    """By what somebody came by a right."""

    ROLE = "role"
    SUCCESSION = "succession"
    SUPERVISION = "supervision"
    CARE_TEAM = "care_team"


class AccountAction(StrEnum):
    """What a request that has no place at work behind it yet was about."""

    SIGN_IN = "sign_in"
    SIGN_OUT = "sign_out"
    AUTHORIZE = "authorize"  # a person lets an application act for her
    TOKEN = "token"  # noqa: S105
    REVOKE = "revoke"
    INTROSPECT = "introspect"
    REGISTER = "register"  # an application was let in, from the command line
    RECORD = "record"  # a door of the record, asked by nobody who is known here


class ChangeKind(StrEnum):
    CREATED = "created"
    CHANGED = "changed"


class DisclosureAuthority(StrEnum):
    """By what right something of the record went to somebody outside, or was asked for."""

    FAMILY = "to_the_family"  # the child, a parent or whoever stands in a parent's place
    AUTHORIZATION = "authorization"  # a written consent to this release
    TREATMENT_PAYMENT_OPERATIONS = "treatment_payment_operations"
    SCHOOL_OFFICIAL = "school_official"  # with a legitimate educational interest
    OTHER_SCHOOL = "other_school"  # where the child enrols
    DIRECTORY_INFORMATION = "directory_information"
    REQUIRED_BY_LAW = "required_by_law"
    ABUSE_OR_NEGLECT_REPORT = "abuse_or_neglect_report"
    PUBLIC_HEALTH = "public_health"
    OVERSIGHT = "oversight"  # an authority's audit or evaluation
    COURT_ORDER = "court_order"  # or a lawful subpoena
    LAW_ENFORCEMENT = "law_enforcement"
    HEALTH_OR_SAFETY_EMERGENCY = "health_or_safety_emergency"
    RESEARCH = "research"
    NONE = "none"  # it should not have gone out
