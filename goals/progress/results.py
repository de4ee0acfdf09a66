"""What the progress rules answer: numbers as decimals, each with the sentence that says what it rests on."""

from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from goals.enums import (
    Achievement,
    Bound,
    Censored,
    CriterionState,
    MeasureKind,
    MissingCode,
    NotMeasuredReason,
    PhaseKind,
)
from goals.progress.canonical import as_json


@dataclass(frozen=True, kw_only=True, slots=True)
class Derived:
    """One measurement's numbers, derived once from its raw counts; `parts` holds strings and integers only."""

    successes: int | None = None
    counted: int | None = None
    value: Decimal | None = None
    censored: Censored | None = None
    not_measured: NotMeasuredReason | None = None
    parts: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True, slots=True)
class Observation:
    """One measurement that counts: when, at which visit, where and with whom, and its derived numbers."""

    id: str
    day: date
    visit: str
    derived: Derived
    slot: int = 1
    started_at: datetime | None = None
    setting: str = ""
    partner: str = ""
    preliminary: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class Missing:
    """Why there is no number, in a code and a sentence; `needs` and `has` where data are too few."""

    code: MissingCode
    sentence: str
    needs: int | None = None
    has: int | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class VisitValueFound:
    """One visit's value: what was measured at it, and whether it satisfies the criterion's clauses."""

    day: date
    visit: str
    value: Decimal | None
    censored: Censored | None = None
    successes: int | None = None
    counted: int | None = None
    phase: PhaseKind
    phase_ordinal: int
    name: str | None = None
    preliminary: bool = False
    qualifies: bool | None = None
    satisfied: bool | None = None
    clauses: tuple[bool | None, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Figure:
    """One number of a goal, or why there is none; `bound` when censoring leaves one side open."""

    value: Decimal | None
    sentence: str
    bound: Bound | None = None
    points: int = 0
    name: str | None = None
    missing: Missing | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class SlopeFound:
    """Theil-Sen slope a week over the phase with its 95 % interval, or why there is none."""

    value: Decimal | None
    low: Decimal | None
    high: Decimal | None
    sentence: str
    points: int
    bound: Bound | None = None
    full_interval: bool = False
    missing: Missing | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class ProportionInterval:
    """Wilson's interval of the pooled last visits."""

    successes: int
    counted: int
    low: Decimal
    high: Decimal
    visits: int
    sentence: str


@dataclass(frozen=True, kw_only=True, slots=True)
class RankChange:
    """Levels gained of those needed, in words; for ordered kinds."""

    gained: int
    needed: int | None
    sentence: str


@dataclass(frozen=True, kw_only=True, slots=True)
class ReliableChange:
    """The last score held against the baseline by the test's own measurement error."""

    index: Decimal
    reliable: bool
    sentence: str


@dataclass(frozen=True, kw_only=True, slots=True)
class AttainmentScore:
    """Goal attainment scaling's T at baseline and now, for this goal alone."""

    baseline: Decimal | None
    now: Decimal
    sentence: str


@dataclass(frozen=True, kw_only=True, slots=True)
class CriterionFound:
    """Whether the criterion is met: satisfied visits of a window, and the day it was first met."""

    state: CriterionState
    satisfied: int
    window: int
    needed: int
    preliminary: bool
    first_met_on: date | None
    sentence: str
    missing: Missing | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Findings:
    """Everything the numbers of one goal say, and a digest of exactly what that rests on."""

    engine: str
    input_digest: str
    kind: MeasureKind
    unit: str
    phase: PhaseKind | None
    phase_ordinal: int | None
    visits: tuple[VisitValueFound, ...]
    not_measured: int
    outside_phases: int
    baseline: Figure
    level: Figure
    percent: Figure
    slope: SlopeFound
    criterion: CriterionFound
    interval: ProportionInterval | None = None
    ranks: RankChange | None = None
    reliable_change: ReliableChange | None = None
    attainment: AttainmentScore | None = None
    achievement: Achievement = Achievement.IN_PROGRESS
    preliminary: bool = False
    sentences: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """The findings as strings, integers, booleans and nulls."""
        return as_json(self)
