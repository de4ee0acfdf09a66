"""The words of the schedule. Statuses are HL7 FHIR's appointmentstatus codes as they stand."""

from enum import StrEnum


class VisitKind(StrEnum):
    TREATMENT = "treatment"
    EVALUATION = "evaluation"
    RE_EVALUATION = "re_evaluation"
    CO_TREATMENT = "co_treatment"
    SUPERVISORY = "supervisory"
    GROUP = "group"
    CONTACT_TRAINING = "contact_training"
    CONSULTATION = "consultation"


class VisitMode(StrEnum):
    IN_PERSON = "in_person"
    VIDEO = "video"
    PHONE = "phone"


class VisitStatus(StrEnum):
    """HL7 FHIR R4 appointmentstatus, those in use."""

    BOOKED = "booked"
    CHECKED_IN = "checked-in"
    FULFILLED = "fulfilled"
    CANCELLED = "cancelled"
    NO_SHOW = "noshow"
    ENTERED_IN_ERROR = "entered-in-error"


class CancelCause(StrEnum):
    """On whose side the reason lay; what is owed depends on it."""

    CLIENT = "client"
    PROVIDER = "provider"
    SITE = "site"
    OTHER = "other"


class OperationMethod(StrEnum):
    """What a tablet queues."""

    PUT = "PUT"
    PATCH = "PATCH"
    POST = "POST"


class OperationOutcome(StrEnum):
    """What became of one queued operation, and what whoever sent it does next."""

    APPLIED = "applied"
    ALREADY_APPLIED = "already_applied"
    CONFLICT = "conflict"
    REFUSED = "refused"
    TRY_AGAIN = "try_again"


class SubjectKind(StrEnum):
    """What a fact or a deadline is about."""

    EPISODE = "episode"
    PLAN_PERIOD = "plan_period"
    PARTICIPATION = "participation"
    VERSION = "version"


class FactKind(StrEnum):
    """What clocks count: something that happened on a day, recorded once for each source. Only ever added to."""

    VISIT_HELD = "visit_held"
    NOTE_SIGNED = "note_signed"
    COSIGNATURE_ASKED = "cosignature_asked"
    COSIGNATURE_DECIDED = "cosignature_decided"
    TREATMENT_DAY = "treatment_day"
    PROGRESS_REPORTED = "progress_reported"
    EVALUATED = "evaluated"
    PLAN_TREATED = "plan_treated"
    CERTIFIED = "certified"
    RECERTIFIED = "recertified"
    REPORT_DAY_SET = "report_day_set"
    SERVICE_ENDED = "service_ended"


class Responsible(StrEnum):
    """Who owes what is due."""

    AUTHOR = "author"
    COSIGNER = "cosigner"
    THERAPIST = "therapist"


class DeadlineOutcome(StrEnum):
    """What became of a deadline; whether an open one is due or overdue is a matter of the day."""

    OPEN = "open"
    MET = "met"
    MET_LATE = "met_late"
    SUPERSEDED = "superseded"
