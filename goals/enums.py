"""Words of measurement and of goals; codes of an open standard stand as the standard writes them."""

from enum import StrEnum


class MeasureKind(StrEnum):
    """What is counted at a visit."""

    ACCURACY = "accuracy"
    DURATION = "duration"
    LATENCY = "latency"
    RATE = "rate"
    PROMPTS = "prompts"
    INTERVAL = "interval"
    QUANTITY = "quantity"
    ORDERED = "ordered"
    STEPS = "steps"
    RATING = "rating"
    SCORE = "score"


class Direction(StrEnum):
    """Which way the number is meant to move."""

    INCREASE = "increase"
    DECREASE = "decrease"
    MAINTAIN = "maintain"


class Purpose(StrEnum):
    """What the goal is for."""

    IMPROVE = "improve"
    MAINTAIN = "maintain"
    REDUCE = "reduce"


class VisitValue(StrEnum):
    """How a visit's trials become the visit's value."""

    SINGLE = "single"
    SUM = "sum"
    MEAN = "mean"
    MEDIAN = "median"
    BEST = "best"
    LAST = "last"


class Strata(StrEnum):
    """What a measure's trials are told apart by."""

    NONE = "none"
    SIDE = "side"
    EXEMPLAR = "exemplar"
    STEP = "step"


class Side(StrEnum):
    """A side of the body."""

    LEFT = "left"
    RIGHT = "right"


class AssistanceLevel(StrEnum):
    """How much help the child had, from least to most; words, never numbers."""

    INDEPENDENT = "independent"
    MODIFIED_INDEPENDENT = "modified_independent"
    SUPERVISION = "supervision"
    CONTACT_GUARD = "contact_guard"
    MINIMAL = "minimal"
    MODERATE = "moderate"
    MAXIMAL = "maximal"
    TOTAL = "total"


class PromptKind(StrEnum):
    """What kind of cue the child had, from least to most; a ladder of its own."""

    NONE = "none"
    GESTURE = "gesture"
    VISUAL = "visual"
    SPOKEN = "spoken"
    MODEL = "model"
    TOUCH = "touch"


ASSISTANCE_SCALE: tuple[str, ...] = tuple(level.value for level in reversed(AssistanceLevel))
"""Level of assistance as an ordered scale, lowest (most help) first."""


class Censored(StrEnum):
    """A value known only to be at least, or at most, what was written."""

    AT_LEAST = "at_least"
    AT_MOST = "at_most"


class IntervalMethod(StrEnum):
    """When an interval is scored."""

    PARTIAL = "partial"
    WHOLE = "whole"
    MOMENTARY = "momentary"


class NotMeasuredReason(StrEnum):
    """Why nothing was measured; never a zero."""

    NO_OPPORTUNITY = "no_opportunity"
    REFUSED = "refused"
    ILL = "ill"
    NO_TIME = "no_time"
    NOT_PLANNED = "not_planned"


class MeasurementSource(StrEnum):
    """Where the numbers come from."""

    CLINICIAN = "clinician"
    CAREGIVER = "caregiver"
    TEACHER = "teacher"
    WORK_SAMPLE = "work_sample"


class PhaseKind(StrEnum):
    """What part of a goal's course a phase is."""

    BASELINE = "baseline"
    INTERVENTION = "intervention"
    MAINTENANCE = "maintenance"


class Comparison(StrEnum):
    """How a visit's value is held against a clause's value."""

    AT_LEAST = "at_least"
    AT_MOST = "at_most"
    WITHIN = "within"


class ConsistencyKind(StrEnum):
    """Over which visits a criterion must hold."""

    OF_LAST = "of_last"
    IN_A_ROW = "in_a_row"
    POOLED_VISITS = "pooled_visits"
    POOLED_DAYS = "pooled_days"


class SideRule(StrEnum):
    """Which side a clause speaks of; no rule means both sides taken together."""

    EACH = "each"
    EITHER = "either"
    LEFT = "left"
    RIGHT = "right"


class CriterionState(StrEnum):
    """Whether a criterion is met by the visits so far."""

    MET = "met"
    NOT_MET = "not_met"
    NOT_ENOUGH_DATA = "not_enough_data"


class Lifecycle(StrEnum):
    """Goal.lifecycleStatus (HL7 FHIR R4 goal-status), the codes used here."""

    PROPOSED = "proposed"
    ACCEPTED = "accepted"
    ACTIVE = "active"
    ON_HOLD = "on-hold"
    COMPLETED = "completed"
    CANCELLED = "cancelled"


class Achievement(StrEnum):
    """Goal.achievementStatus (HL7 FHIR R4 goal-achievement)."""

    IN_PROGRESS = "in-progress"
    IMPROVING = "improving"
    WORSENING = "worsening"
    NO_CHANGE = "no-change"
    ACHIEVED = "achieved"
    SUSTAINING = "sustaining"
    NOT_ACHIEVED = "not-achieved"
    NO_PROGRESS = "no-progress"
    NOT_ATTAINABLE = "not-attainable"


class Bound(StrEnum):
    """A result that censored values leave known on one side only."""

    LOWER = "lower"
    UPPER = "upper"


class MissingCode(StrEnum):
    """Why a finding has no number."""

    NOT_ENOUGH_DATA = "not_enough_data"
    ORDERED = "ordered"
    CENSORED = "censored"
    BAND = "band"
    MAINTAIN = "maintain"
    NO_CRITERION = "no_criterion"
    BASELINE_MEETS_CRITERION = "baseline_meets_criterion"
