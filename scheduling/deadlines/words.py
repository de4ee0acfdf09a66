"""Why something is due, in one plain sentence: the rule, the fact that it is counted from, what was counted."""

from dataclasses import dataclass
from datetime import date

from scheduling.deadlines.rules import Rule, Unit

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
STARTED_BY = {
    "visit_held": "the visit of",
    "cosignature_asked": "the signature of",
    "treatment_day": "the period that began on",
    "plan_treated": "the plan's first treatment on",
    "evaluated": "the evaluation of",
    "report_day_set": "the reporting period from",
}
COUNTED = {"treatment_day": "treatment days"}


@dataclass(frozen=True, kw_only=True, slots=True)
class Told:
    """What a deadline's row says that its sentence rests on."""

    starts_on: date
    counted: int
    due_on: date | None
    expected_on: date | None
    closed_on: date | None


def because(rule: Rule, told: Told, *, source: str) -> str:
    """The sentence; no name and no clinical word stands in it."""
    parts = [f"Counted from {_start(rule)} {written(told.starts_on)}"]
    if rule.counted is not None:
        what = COUNTED.get(next(iter(rule.counts)).value, "counted days")
        parts.append(f"{told.counted} of {rule.counted} {what}")
    parts += [_length(rule)] if rule.counted is None else []
    if told.due_on is not None:
        parts.append(f"due by the end of {written(told.due_on)}")
    elif told.expected_on is not None:
        parts.append(f"expected on {written(told.expected_on)} if what is booked is held")
    if told.closed_on is not None:
        parts.append(f"answered on {written(told.closed_on)}")
    return f"{', '.join(part for part in parts if part)}. Rule: {source}."


def _start(rule: Rule) -> str:
    return STARTED_BY.get(sorted(kind.value for kind in rule.starts)[0], "the day")


def _length(rule: Rule) -> str:
    said = [
        "to the day that was set" if one.unit == Unit.COVERED else f"{one.number} {one.unit.value.replace('_', ' ')}"
        for one in rule.intervals
    ]
    return said[0] if len(said) == 1 else f"the {rule.which.value} of {' and '.join(said)}"


def written(day: date) -> str:
    """A day as people write it, like 5 Jan 2026."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"
