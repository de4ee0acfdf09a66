"""Invented goals for tests: a goal, its phases and its visits, told as short as a data sheet."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from goals.enums import PhaseKind
from goals.progress.criteria import read_criterion
from goals.progress.definitions import Criterion, GoalSpec, Phase
from goals.progress.findings import find
from goals.progress.measures import derive
from goals.progress.reading import read_goal
from goals.progress.results import Findings, Observation

BASELINE_DAY = date(2026, 2, 24)
FIRST_VISIT = date(2026, 3, 3)
WEEK = timedelta(days=7)


def make_goal(measure: Mapping[str, Any], **changes: Any) -> GoalSpec:
    """A goal to improve by an increase, unless told otherwise."""
    return read_goal({"purpose": "improve", "direction": "increase", "measure": measure} | changes)


def make_criterion(goal: GoalSpec, *clauses: Mapping[str, Any], **rest: Any) -> Criterion:
    """A criterion over the last visit, unless told otherwise."""
    consistency = rest.pop("consistency", {"kind": "of_last", "k": 1, "m": 1})
    return read_criterion({"clauses": list(clauses), "consistency": consistency, **rest}, goal=goal)


def make_phases(criterion: Criterion | None) -> list[Phase]:
    """A baseline of one day and an intervention without an end."""
    return [
        Phase(ordinal=1, kind=PhaseKind.BASELINE, starts_on=BASELINE_DAY, ends_on=BASELINE_DAY),
        Phase(ordinal=2, kind=PhaseKind.INTERVENTION, starts_on=FIRST_VISIT, criterion=criterion),
    ]


def observe(goal: GoalSpec, raw: Mapping[str, Any], *, day: date, number: int, **changes: Any) -> Observation:
    """One measurement as it would come from a signed note."""
    raw = {"goal": "a goal", "slot": 1} | dict(raw)
    values = {
        "id": f"m-{number:04d}",
        "day": day,
        "visit": f"v-{number:04d}",
        "derived": derive(goal, raw, primary=changes.pop("primary", None)),
        "setting": raw.get("setting", ""),
        "partner": raw.get("partner", ""),
    }
    return Observation(**(values | changes))


@dataclass(frozen=True, kw_only=True)
class Case:
    """A goal with its criterion, its baseline probes and its weekly visits; None is a visit without it."""

    goal: GoalSpec
    criterion: Criterion
    baseline: Sequence[Mapping[str, Any]]
    visits: Sequence[Mapping[str, Any] | None]

    def observations(self, visits: int | None = None) -> list[Observation]:
        """Baseline and the first so many visits."""
        primary = self.criterion.primary
        before = [
            observe(self.goal, raw, day=BASELINE_DAY, number=number, visit="evaluation", slot=number, primary=primary)
            for number, raw in enumerate(self.baseline, 1)
        ]
        after = [
            observe(self.goal, raw, day=FIRST_VISIT + WEEK * week, number=100 + week, primary=primary)
            for week, raw in enumerate(self.visits[:visits])
            if raw is not None
        ]
        return before + after

    def findings(self, visits: int | None = None) -> Findings:
        """What the numbers say after so many visits."""
        return find(self.goal, make_phases(self.criterion), self.observations(visits))
