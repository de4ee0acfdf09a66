"""What a goal measures and when it is met: plain values that every finding rests on."""

from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from goals.enums import (
    AssistanceLevel,
    Comparison,
    ConsistencyKind,
    Direction,
    IntervalMethod,
    MeasureKind,
    PhaseKind,
    PromptKind,
    Purpose,
    SideRule,
    Strata,
    VisitValue,
)

PROPORTIONS = frozenset({MeasureKind.ACCURACY, MeasureKind.INTERVAL})
RANKED = frozenset({MeasureKind.ORDERED, MeasureKind.STEPS, MeasureKind.RATING})
SECONDS_IN = {"s": 1, "min": 60, "h": 3600}
DEFAULT_UNITS = {
    MeasureKind.DURATION: "s",
    MeasureKind.LATENCY: "s",
    MeasureKind.PROMPTS: "{prompts}",
}


@dataclass(frozen=True, kw_only=True, slots=True)
class MeasureSpec:
    """What is counted, in which unit, and how a visit's trials become one value."""

    kind: MeasureKind
    unit: str = "1"
    visit_value: VisitValue = VisitValue.SINGLE
    strata: Strata = Strata.NONE
    names: tuple[str, ...] = ()
    scale: tuple[str, ...] = ()
    sem: Decimal | None = None
    per_minutes: Decimal = Decimal(1)
    alone_at: AssistanceLevel = AssistanceLevel.SUPERVISION
    interval_method: IntervalMethod | None = None
    trial_name: str = "trials"
    independent_trials: bool = True


@dataclass(frozen=True, kw_only=True, slots=True)
class GoalSpec:
    """A goal's measure with its further components, and which way it is meant to move."""

    purpose: Purpose
    direction: Direction
    measure: MeasureSpec
    components: tuple[MeasureSpec, ...] = ()

    def component(self, kind: MeasureKind) -> MeasureSpec | None:
        """The measure of one kind among the goal's own and its further components."""
        return next((spec for spec in (self.measure, *self.components) if spec.kind == kind), None)


@dataclass(frozen=True, kw_only=True, slots=True)
class Clause:
    """One part of a criterion; `value` and `upper` are decimals, fractions like 5/7, or names of the scale."""

    component: MeasureKind
    comparison: Comparison
    value: str
    upper: str | None = None
    share: str | None = None
    most_assistance: AssistanceLevel | None = None
    most_prompting: PromptKind | None = None
    side_rule: SideRule | None = None
    primary: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class Consistency:
    """Over which visits the clauses must hold: k of the last m, k in a row, or pooled over visits or days."""

    kind: ConsistencyKind
    k: int = 1
    m: int | None = None
    n: int | None = None
    days: int | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class MinimumData:
    """What a visit must have measured to be one of the visits that a criterion looks at."""

    trials: int | None = None
    intervals: int | None = None
    days: int | None = None
    minutes: Decimal | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Generalization:
    """In how many settings, and with how many partners, the satisfying visits must have been."""

    settings: int = 1
    partners: int = 1


@dataclass(frozen=True, kw_only=True, slots=True)
class Criterion:
    """When a goal is met: clauses joined by "and", how often, on how much data, where and with whom."""

    clauses: tuple[Clause, ...]
    consistency: Consistency
    minimum: MinimumData = field(default_factory=MinimumData)
    generalization: Generalization = field(default_factory=Generalization)

    @property
    def primary(self) -> Clause:
        """The clause that feeds the statistics."""
        return next((clause for clause in self.clauses if clause.primary), self.clauses[0])


@dataclass(frozen=True, kw_only=True, slots=True)
class Phase:
    """One stretch of days of a goal's course; a revised criterion starts a new one."""

    ordinal: int
    kind: PhaseKind
    starts_on: date
    ends_on: date | None = None
    criterion: Criterion | None = None

    def holds(self, day: date) -> bool:
        """Whether a day lies in this phase, first and last day included."""
        return self.starts_on <= day and (self.ends_on is None or day <= self.ends_on)
