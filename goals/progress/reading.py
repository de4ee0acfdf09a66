"""Goals, clauses and criteria as clients write them, read into definitions; what is unclear is refused."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from enum import StrEnum
from typing import Any, TypeVar

from goals.enums import (
    ASSISTANCE_SCALE,
    AssistanceLevel,
    Direction,
    IntervalMethod,
    MeasureKind,
    Purpose,
    Side,
    Strata,
    VisitValue,
)
from goals.progress.decimals import read_decimal
from goals.progress.definitions import DEFAULT_UNITS, SECONDS_IN, GoalSpec, MeasureSpec
from goals.progress.errors import BadDefinition, escaped
from goals.progress.limits import MOST_NAME

MEASURE_MEMBERS = frozenset(
    {
        "kind",
        "unit",
        "visit_value",
        "strata",
        "names",
        "scale",
        "sem",
        "per_minutes",
        "alone_at",
        "interval_method",
        "trial_name",
        "independent_trials",
        "operational_definition",
    }
)
GOAL_MEMBERS = frozenset({"purpose", "direction", "measure", "components"})
MOST_NAMES = 50
MOST_COMPONENTS = 3
ONE_VALUE_KINDS = frozenset({MeasureKind.RATING, MeasureKind.SCORE})
RANK_VALUES = frozenset({VisitValue.SINGLE, VisitValue.MEDIAN, VisitValue.BEST, VisitValue.LAST})
Word = TypeVar("Word", bound=StrEnum)


def wrong(code: str, pointer: str, detail: str) -> BadDefinition:
    """The refusal of a definition, with its place in the input."""
    return BadDefinition(code, pointer=pointer, detail=detail)


def read_goal(data: Any) -> GoalSpec:
    """A goal's purpose, direction, measure and components; refuses with BadDefinition."""
    members(data, GOAL_MEMBERS, pointer="")
    direction = word(Direction, data, "direction", pointer="")
    purpose = word(Purpose, data, "purpose", pointer="")
    if direction is None or purpose is None:
        raise wrong("missing", "/direction" if direction is None else "/purpose", "This is needed.")
    measure = read_measure(data.get("measure"), pointer="/measure")
    if measure.visit_value == VisitValue.BEST and direction == Direction.MAINTAIN:
        raise wrong("no_best", "/measure/visit_value", "A value to maintain has no best.")
    return GoalSpec(
        purpose=purpose,
        direction=direction,
        measure=measure,
        components=_read_components(data.get("components", []), measure.kind),
    )


def _read_components(items: Any, own: MeasureKind) -> tuple[MeasureSpec, ...]:
    if not isinstance(items, Sequence) or isinstance(items, str) or len(items) > MOST_COMPONENTS:
        raise wrong("wrong_type", "/components", f"Components are a list of at most {MOST_COMPONENTS}.")
    specs = tuple(read_measure(item, pointer=f"/components/{place}") for place, item in enumerate(items))
    kinds = [own, *(spec.kind for spec in specs)]
    for place, spec in enumerate(specs):
        if kinds.count(spec.kind) > 1:
            raise wrong("kind_twice", f"/components/{place}/kind", "Each component has a kind of its own.")
        if spec.visit_value == VisitValue.BEST:
            raise wrong("no_best", f"/components/{place}/visit_value", "A further component has no best.")
    return specs


def read_measure(data: Any, *, pointer: str = "") -> MeasureSpec:
    """One measure: kind, unit, how trials become a value, and what its kind needs besides."""
    members(data, MEASURE_MEMBERS, pointer=pointer)
    kind = word(MeasureKind, data, "kind", pointer=pointer)
    if kind is None:
        raise wrong("missing", f"{pointer}/kind", "A measure has a kind.")
    spec = MeasureSpec(
        kind=kind,
        unit=_text(data, "unit", DEFAULT_UNITS.get(kind, "1"), pointer=pointer),
        visit_value=word(VisitValue, data, "visit_value", pointer=pointer) or _usual_value(kind),
        strata=word(Strata, data, "strata", pointer=pointer) or _usual_strata(kind),
        names=_names(data.get("names", []), pointer=f"{pointer}/names"),
        scale=_read_scale(kind, data.get("scale"), pointer=f"{pointer}/scale"),
        sem=_positive(data, "sem", pointer=pointer),
        per_minutes=_positive(data, "per_minutes", pointer=pointer) or Decimal(1),
        alone_at=word(AssistanceLevel, data, "alone_at", pointer=pointer) or AssistanceLevel.SUPERVISION,
        interval_method=word(IntervalMethod, data, "interval_method", pointer=pointer),
        trial_name=_text(data, "trial_name", _usual_trial(kind), pointer=pointer),
        independent_trials=_flag(data, "independent_trials", kind != MeasureKind.INTERVAL, pointer=pointer),
    )
    _require_fitting(spec, pointer=pointer)
    return spec


def _usual_value(kind: MeasureKind) -> VisitValue:
    return VisitValue.SUM if kind in (MeasureKind.PROMPTS, MeasureKind.RATE) else VisitValue.SINGLE


def _usual_strata(kind: MeasureKind) -> Strata:
    return Strata.STEP if kind == MeasureKind.STEPS else Strata.NONE


def _usual_trial(kind: MeasureKind) -> str:
    return {MeasureKind.INTERVAL: "intervals", MeasureKind.STEPS: "steps"}.get(kind, "trials")


def _require_fitting(spec: MeasureSpec, *, pointer: str) -> None:
    if spec.kind in (MeasureKind.DURATION, MeasureKind.LATENCY) and spec.unit not in SECONDS_IN:
        raise wrong("unknown_unit", f"{pointer}/unit", "A time is in s, min or h.")
    if spec.kind == MeasureKind.ORDERED and not 2 <= len(spec.scale) <= MOST_NAMES:
        detail = f"An ordered measure has a scale of 2 to {MOST_NAMES} levels, lowest first; `assistance` is one."
        raise wrong("scale_missing", f"{pointer}/scale", detail)
    if spec.kind in ONE_VALUE_KINDS and spec.visit_value != VisitValue.SINGLE:
        raise wrong("one_value", f"{pointer}/visit_value", f"A {spec.kind.value} is one value.")
    if spec.kind == MeasureKind.ORDERED and spec.visit_value not in RANK_VALUES:
        raise wrong("ranks_have_no_sum", f"{pointer}/visit_value", "Levels have no sum and no mean.")
    if (spec.kind == MeasureKind.STEPS) != (spec.strata == Strata.STEP):
        raise wrong("steps_by_step", f"{pointer}/strata", "Steps, and only steps, are told apart by step.")
    if spec.kind in ONE_VALUE_KINDS and spec.strata != Strata.NONE:
        raise wrong("one_value", f"{pointer}/strata", f"A {spec.kind.value} is one value.")
    if spec.strata == Strata.SIDE and not set(spec.names) <= set(Side):
        raise wrong("unknown_side", f"{pointer}/names", "Sides are left and right.")


def _read_scale(kind: MeasureKind, scale: Any, *, pointer: str) -> tuple[str, ...]:
    if scale is None:
        return ()
    if kind != MeasureKind.ORDERED:
        raise wrong("no_scale", pointer, "Only an ordered measure has a scale.")
    return ASSISTANCE_SCALE if scale == "assistance" else _names(scale, pointer=pointer)


def _names(items: Any, *, pointer: str) -> tuple[str, ...]:
    if not isinstance(items, Sequence) or isinstance(items, str) or len(items) > MOST_NAMES:
        raise wrong("wrong_type", pointer, f"This is a list of at most {MOST_NAMES} names.")
    for place, name in enumerate(items):
        if not _is_name(name):
            raise wrong("not_a_name", f"{pointer}/{place}", f"A name is 1 to {MOST_NAME} printable characters.")
    if len(set(items)) < len(items):
        raise wrong("name_twice", pointer, "Each name stands once.")
    return tuple(items)


def _is_name(text: Any) -> bool:
    return isinstance(text, str) and 1 <= len(text) <= MOST_NAME and text.isprintable()


def _text(data: Mapping[str, Any], member: str, usual: str, *, pointer: str) -> str:
    text = data.get(member, usual)
    if not _is_name(text):
        raise wrong("not_a_name", f"{pointer}/{member}", f"This is 1 to {MOST_NAME} printable characters.")
    return str(text)


def _flag(data: Mapping[str, Any], member: str, usual: bool, *, pointer: str) -> bool:
    flag = data.get(member, usual)
    if not isinstance(flag, bool):
        raise wrong("wrong_type", f"{pointer}/{member}", "This is true or false.")
    return flag


def _positive(data: Mapping[str, Any], member: str, *, pointer: str) -> Decimal | None:
    if data.get(member) is None:
        return None
    number = read_decimal(data[member])
    if number is None or not 0 < number <= 100_000:
        raise wrong("not_a_number", f"{pointer}/{member}", "This is a positive whole number or a string like 1.5.")
    return number


def word(words: type[Word], data: Mapping[str, Any], member: str, *, pointer: str) -> Word | None:
    """A member that must be one of a list of words, or None when it is absent, null or empty."""
    if data.get(member) in (None, ""):
        return None
    try:
        return words(data[member])
    except (ValueError, TypeError):
        allowed = ", ".join(each.value for each in words)
        raise wrong("unknown_word", f"{pointer}/{member}", f"This is one of: {allowed}.") from None


def members(data: Any, allowed: frozenset[str], *, pointer: str) -> None:
    """Refuse what is no object, and members that nobody reads."""
    if not isinstance(data, Mapping):
        raise wrong("wrong_type", pointer, "An object is needed.")
    for member in data:
        if member not in allowed:
            raise wrong("unknown_member", f"{pointer}/{escaped(member)}", "This member is not known here.")
