"""Criteria as clients write them: clauses, consistency, minimum data and generalization, checked together."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any

from goals.enums import (
    AssistanceLevel,
    Comparison,
    ConsistencyKind,
    Direction,
    MeasureKind,
    PromptKind,
    SideRule,
    Strata,
)
from goals.progress.decimals import read_decimal, read_ratio
from goals.progress.definitions import (
    PROPORTIONS,
    RANKED,
    Clause,
    Consistency,
    Criterion,
    Generalization,
    GoalSpec,
    MeasureSpec,
    MinimumData,
)
from goals.progress.reading import members, word, wrong

CRITERION_MEMBERS = frozenset({"clauses", "consistency", "minimum_data", "generalization"})
CLAUSE_MEMBERS = frozenset(
    {
        "component",
        "comparison",
        "value",
        "upper",
        "share",
        "most_assistance",
        "most_prompting",
        "side_rule",
        "primary",
    }
)
CONSISTENCY_MEMBERS = {
    ConsistencyKind.OF_LAST: ("k", "m"),
    ConsistencyKind.IN_A_ROW: ("k",),
    ConsistencyKind.POOLED_VISITS: ("n",),
    ConsistencyKind.POOLED_DAYS: ("days",),
}
MOST_CLAUSES = 4
MOST_VISITS = 100
MOST_DAYS = 366
POOLED = frozenset({ConsistencyKind.POOLED_VISITS, ConsistencyKind.POOLED_DAYS})
UNSTRATIFIED = frozenset({MeasureKind.STEPS, MeasureKind.RATING, MeasureKind.SCORE})


def read_criterion(data: Any, *, goal: GoalSpec) -> Criterion:
    """When this goal is met; refuses with BadDefinition what its measure cannot answer."""
    members(data, CRITERION_MEMBERS, pointer="")
    clauses = _read_clauses(data.get("clauses"), goal)
    consistency = _read_consistency(data.get("consistency"))
    if consistency.kind in POOLED:
        _require_poolable(clauses)
    return Criterion(
        clauses=clauses,
        consistency=consistency,
        minimum=_read_minimum(data.get("minimum_data") or {}),
        generalization=_read_generalization(data.get("generalization") or {}),
    )


def target_of(spec: MeasureSpec, text: str | None) -> Fraction | None:
    """A clause's value as a number: a decimal, a fraction, or the place of a level on its scale."""
    if text is None:
        return None
    if spec.kind == MeasureKind.ORDERED:
        return _rank_of(spec, text)
    return read_ratio(text)


def _rank_of(spec: MeasureSpec, text: str) -> Fraction | None:
    if text in spec.scale:
        return Fraction(spec.scale.index(text))
    number = read_ratio(text)
    known = number is not None and number.denominator == 1 and 0 <= number < len(spec.scale)
    return number if known else None


def share_of(text: str, among: int) -> int:
    """How many of the trials or strata a share asks for: a count, or a part of those there are."""
    number = read_ratio(text)
    if number is None:
        return among + 1
    if is_part(text):
        return -(-number.numerator * among // number.denominator)
    return int(number)


def is_part(text: str) -> bool:
    """Whether a share is written as a part (2/3, 0.8, 1.0) and not as a count (2)."""
    return "/" in text or "." in text


def _read_clauses(items: Any, goal: GoalSpec) -> tuple[Clause, ...]:
    if not isinstance(items, Sequence) or isinstance(items, str) or not 1 <= len(items) <= MOST_CLAUSES:
        raise wrong("wrong_type", "/clauses", f"A criterion has 1 to {MOST_CLAUSES} clauses.")
    clauses = tuple(
        _read_clause(item, goal, alone=len(items) == 1, pointer=f"/clauses/{place}") for place, item in enumerate(items)
    )
    if sum(clause.primary for clause in clauses) != 1:
        raise wrong("one_primary", "/clauses", "One clause is primary and feeds the statistics.")
    primary = next(place for place, clause in enumerate(clauses) if clause.primary)
    if clauses[primary].component != goal.measure.kind:
        raise wrong("primary_kind", f"/clauses/{primary}/component", "The primary clause is of the goal's measure.")
    _require_direction(clauses[primary], goal.direction, pointer=f"/clauses/{primary}/comparison")
    return clauses


def _require_direction(primary: Clause, direction: Direction, *, pointer: str) -> None:
    against = {Direction.INCREASE: Comparison.AT_MOST, Direction.DECREASE: Comparison.AT_LEAST}
    if primary.comparison == against.get(direction):
        raise wrong(
            "against_direction", pointer, f"The goal is to {direction.value}, the clause asks for the other way."
        )


def _read_clause(data: Any, goal: GoalSpec, *, alone: bool, pointer: str) -> Clause:
    members(data, CLAUSE_MEMBERS, pointer=pointer)
    component = word(MeasureKind, data, "component", pointer=pointer) or goal.measure.kind
    spec = goal.component(component)
    if spec is None:
        raise wrong("unknown_component", f"{pointer}/component", "This goal has no such component.")
    clause = Clause(
        component=component,
        comparison=_comparison(data, pointer=pointer),
        value=_value_text(data, "value", spec, pointer=pointer) or "",
        upper=_value_text(data, "upper", spec, pointer=pointer),
        share=_share_text(data, pointer=pointer),
        most_assistance=word(AssistanceLevel, data, "most_assistance", pointer=pointer),
        most_prompting=word(PromptKind, data, "most_prompting", pointer=pointer),
        side_rule=word(SideRule, data, "side_rule", pointer=pointer),
        primary=_primary(data, alone=alone, pointer=pointer),
    )
    _require_clear(clause, spec, pointer=pointer)
    return clause


def _comparison(data: Mapping[str, Any], *, pointer: str) -> Comparison:
    comparison = word(Comparison, data, "comparison", pointer=pointer)
    if comparison is None:
        raise wrong("missing", f"{pointer}/comparison", "A clause says at least, at most or within.")
    return comparison


def _value_text(data: Mapping[str, Any], member: str, spec: MeasureSpec, *, pointer: str) -> str | None:
    given = data.get(member)
    if given in (None, ""):
        return None
    text = str(given) if isinstance(given, (str, int)) and not isinstance(given, bool) else ""
    target = target_of(spec, text)
    if target is None:
        levels = f"one of the scale's levels: {', '.join(spec.scale)}"
        wanted = levels if spec.kind == MeasureKind.ORDERED else "a number like 12, 0.8 or 5/7"
        raise wrong("not_a_number", f"{pointer}/{member}", f"This is {wanted}.")
    if spec.kind in PROPORTIONS and not 0 <= target <= 1:
        raise wrong("not_a_part", f"{pointer}/{member}", "A part of trials lies between 0 and 1; 85 % is 0.85.")
    return text


def _share_text(data: Mapping[str, Any], *, pointer: str) -> str | None:
    given = data.get("share")
    if given in (None, ""):
        return None
    text = str(given) if isinstance(given, (str, int)) and not isinstance(given, bool) else ""
    number = read_ratio(text)
    most = 1 if is_part(text) else MOST_VISITS
    if number is None or not 0 < number <= most or (number.denominator > 1 and not is_part(text)):
        raise wrong("not_a_share", f"{pointer}/share", "A share is a count like 2, or a part like 2/3 or 0.8.")
    return text


def _primary(data: Mapping[str, Any], *, alone: bool, pointer: str) -> bool:
    flag = data.get("primary", alone)
    if not isinstance(flag, bool):
        raise wrong("wrong_type", f"{pointer}/primary", "This is true or false.")
    return flag


def _require_clear(clause: Clause, spec: MeasureSpec, *, pointer: str) -> None:
    if not clause.value:
        raise wrong("missing", f"{pointer}/value", "A clause has a value.")
    if (clause.comparison == Comparison.WITHIN) != (clause.upper is not None):
        raise wrong("band", f"{pointer}/upper", "Within, and only within, has an upper value.")
    if clause.upper is not None and _above(spec, clause.value, clause.upper):
        raise wrong("band", f"{pointer}/upper", "The upper value lies below the lower one.")
    if clause.side_rule is not None and spec.strata != Strata.SIDE:
        raise wrong("no_sides", f"{pointer}/side_rule", "This measure does not tell sides apart.")
    if clause.share is None:
        return
    if clause.side_rule is not None or spec.kind in UNSTRATIFIED:
        raise wrong("no_share", f"{pointer}/share", "A share is of exemplars, sides or trials, without a side rule.")
    if spec.strata == Strata.NONE and (spec.kind in PROPORTIONS or spec.kind == MeasureKind.RATE):
        raise wrong("no_share", f"{pointer}/share", "This measure's value is already one of all its trials.")


def _above(spec: MeasureSpec, lower: str, upper: str) -> bool:
    low, high = target_of(spec, lower), target_of(spec, upper)
    return low is not None and high is not None and low > high


def _read_consistency(data: Any) -> Consistency:
    members(data, frozenset({"kind", "k", "m", "n", "days"}), pointer="/consistency")
    kind = word(ConsistencyKind, data, "kind", pointer="/consistency")
    if kind is None:
        raise wrong("missing", "/consistency/kind", "A criterion says over which visits it holds.")
    needed = CONSISTENCY_MEMBERS[kind]
    for member in ("k", "m", "n", "days"):
        if (member in needed) != (data.get(member) is not None):
            detail = f"The kind {kind.value} has exactly: {', '.join(needed)}."
            raise wrong("wrong_members", f"/consistency/{member}", detail)
    found = {
        member: _count(data, member, MOST_DAYS if member == "days" else MOST_VISITS, pointer="/consistency")
        for member in needed
    }
    if kind == ConsistencyKind.OF_LAST and found["k"] > found["m"]:
        raise wrong("more_than_window", "/consistency/k", "More visits are asked for than are looked at.")
    return Consistency(kind=kind, **found)


def _count(data: Mapping[str, Any], member: str, most: int, *, pointer: str) -> int:
    number = read_decimal(data[member])
    if number is None or number != number.to_integral_value() or not 1 <= number <= most:
        raise wrong("not_a_count", f"{pointer}/{member}", f"This is a whole number from 1 to {most}.")
    return int(number)


def _read_minimum(data: Any) -> MinimumData:
    members(data, frozenset({"trials", "intervals", "days", "minutes"}), pointer="/minimum_data")
    given = [member for member in data if data[member] is not None]
    found: dict[str, Any] = {
        member: _count(data, member, 100_000, pointer="/minimum_data") for member in given if member != "minutes"
    }
    if "minutes" in given:
        minutes = read_decimal(data["minutes"])
        if minutes is None or not Decimal(0) < minutes <= 10_080:
            raise wrong("not_a_number", "/minimum_data/minutes", "Minutes are a number up to 10080.")
        found["minutes"] = minutes
    return MinimumData(**found)


def _read_generalization(data: Any) -> Generalization:
    members(data, frozenset({"settings", "partners"}), pointer="/generalization")
    found = {
        member: _count(data, member, MOST_VISITS, pointer="/generalization")
        for member in data
        if data[member] is not None
    }
    return Generalization(**found)


def _require_poolable(clauses: Sequence[Clause]) -> None:
    for place, clause in enumerate(clauses):
        pointer = f"/clauses/{place}"
        if clause.component in RANKED or clause.component == MeasureKind.SCORE:
            raise wrong("not_pooled", f"{pointer}/component", "Levels, steps, ratings and scores are not pooled.")
        if clause.share is not None or clause.side_rule is not None:
            raise wrong("not_pooled", pointer, "Pooled visits have no share and no side rule.")
