"""What somebody proposes as a goal, read into its definition; what is unclear is refused with its place."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any
from uuid import UUID

from clinic.errors import InvalidField
from clinic.rules.access import Actor
from goals.enums import ASSISTANCE_SCALE, MeasureKind
from goals.models import Clause, Goal, GoalPhase, OrderedScale
from goals.progress.canonical import as_json
from goals.progress.criteria import read_criterion
from goals.progress.decimals import written
from goals.progress.definitions import Criterion, GoalSpec, MeasureSpec
from goals.progress.errors import BadDefinition
from goals.progress.reading import read_goal
from goals.selectors import scales

ASSISTANCE = "assistance"
OWN_WORDS = {"/sem": "/standard_error"}
LEVELS_OF_A_RATING = 5
ASIDE = {"levels", "scale", "standard_error", "per_minutes", "operational_definition"}


@contextmanager
def refusing(pointer: str = "") -> Iterator[None]:
    """Tell a refused definition as a wrong member of the request."""
    try:
        yield
    except BadDefinition as refusal:
        place = refusal.pointer
        for theirs, ours in OWN_WORDS.items():
            place = place.removesuffix(theirs) + ours if place.endswith(theirs) else place
        raise InvalidField(f"{pointer}{place}", refusal.detail, code=refusal.code) from None


def read_definition(actor: Actor, wanted: Mapping[str, Any]) -> tuple[GoalSpec, dict[str, Any]]:
    """A goal's definition and the columns that hold it."""
    measure, components = wanted["measure"], wanted.get("components", [])
    found = _scales(actor, [measure, *components])
    data = {
        "purpose": wanted["purpose"],
        "direction": wanted["direction"],
        "measure": _members(measure, found, pointer="/measure"),
        "components": [_members(each, found, pointer=f"/components/{place}") for place, each in enumerate(components)],
    }
    with refusing():
        spec = read_goal(data)
    columns = _columns(spec, measure, found)
    columns["components"] = [_stored(each, sent) for each, sent in zip(spec.components, components, strict=True)]
    return spec, columns


def _scales(actor: Actor, measures: list[Mapping[str, Any]]) -> dict[str, OrderedScale]:
    named = [UUID(text) for each in measures if _is_id(text := each.get("scale"))]
    return {str(row.pk): row for row in scales.scales_for(actor).filter(pk__in=named)} if named else {}


def _is_id(text: str | None) -> bool:
    return text is not None and text != ASSISTANCE


def _members(sent: Mapping[str, Any], found: Mapping[str, OrderedScale], *, pointer: str) -> dict[str, Any]:
    """One measure in the words of the progress rules."""
    _require_levels(sent, pointer=pointer)
    data = {name: value for name, value in sent.items() if name not in ASIDE and value is not None}
    for theirs, ours in (("sem", "standard_error"), ("per_minutes", "per_minutes")):
        if sent.get(ours) is not None:
            data[theirs] = written(sent[ours])
    if (scale := sent.get("scale")) is not None:
        data["scale"] = _levels(scale, found, pointer=pointer)
    return data


def _levels(scale: str, found: Mapping[str, OrderedScale], *, pointer: str) -> list[str]:
    if scale == ASSISTANCE:
        return list(ASSISTANCE_SCALE)
    if scale not in found:
        raise InvalidField(f"{pointer}/scale", "There is no such scale in your organization", code="not_found")
    return list(found[scale].levels)


def _require_levels(sent: Mapping[str, Any], *, pointer: str) -> None:
    is_rating = sent["kind"] == MeasureKind.RATING
    if is_rating and len(sent.get("levels", [])) != LEVELS_OF_A_RATING:
        detail = "A rating has its five levels written before, from much less to much more than expected"
        raise InvalidField(f"{pointer}/levels", detail, code="levels_missing")
    if not is_rating and sent.get("levels"):
        raise InvalidField(f"{pointer}/levels", "Only a rating has levels in words", code="no_levels")


def _columns(spec: GoalSpec, sent: Mapping[str, Any], found: Mapping[str, OrderedScale]) -> dict[str, Any]:
    measure = spec.measure
    return {
        "purpose": spec.purpose.value,
        "direction": spec.direction.value,
        "measure": measure.kind.value,
        "unit": measure.unit,
        "visit_value": measure.visit_value.value,
        "strata": measure.strata.value,
        "strata_names": list(measure.names),
        "scale": found.get(sent.get("scale") or ""),
        "levels": list(sent.get("levels", [])),
        "alone_at": measure.alone_at.value,
        "interval_method": measure.interval_method.value if measure.interval_method else None,
        "per_minutes": measure.per_minutes,
        "standard_error": measure.sem,
        "trial_name": measure.trial_name,
        "independent_trials": measure.independent_trials,
        "definition": sent.get("operational_definition", ""),
    }


def _stored(spec: MeasureSpec, sent: Mapping[str, Any]) -> dict[str, Any]:
    members = {name: value for name, value in as_json(spec).items() if value not in (None, [])}
    return {
        "spec": members,
        "scale": sent.get("scale"),
        "levels": list(sent.get("levels", [])),
        "definition": sent.get("operational_definition", ""),
    }


def read_wanted_criterion(spec: GoalSpec, sent: Mapping[str, Any], *, pointer: str = "/criterion") -> Criterion:
    """When the goal is met; what its measure cannot answer is refused."""
    with refusing(pointer):
        return read_criterion(sent, goal=spec)


def write_phase(*, goal: Goal, criterion: Criterion | None, **columns: Any) -> GoalPhase:
    """Add one phase with the clauses of its criterion."""
    held = _criterion_columns(criterion) if criterion else {}
    phase = GoalPhase.objects.create(organization_id=goal.organization_id, goal=goal, **columns, **held)
    if criterion:
        Clause.objects.bulk_create(
            Clause(organization_id=goal.organization_id, phase=phase, ordinal=place, **_clause_columns(clause))
            for place, clause in enumerate(criterion.clauses, start=1)
        )
    return phase


def _criterion_columns(criterion: Criterion) -> dict[str, Any]:
    consistency, minimum = criterion.consistency, criterion.minimum
    window = next((number for number in (consistency.m, consistency.n, consistency.days) if number), None)
    pooled = consistency.n is not None or consistency.days is not None
    return {
        "consistency": consistency.kind.value,
        "needed": None if pooled else consistency.k,
        "window": window,
        "minimum_trials": minimum.trials,
        "minimum_intervals": minimum.intervals,
        "minimum_days": minimum.days,
        "minimum_minutes": minimum.minutes,
        "settings_needed": criterion.generalization.settings,
        "partners_needed": criterion.generalization.partners,
    }


def _clause_columns(clause: Any) -> dict[str, Any]:
    return {
        "component": clause.component.value,
        "comparison": clause.comparison.value,
        "value": clause.value,
        "upper_value": clause.upper or "",
        "share": clause.share or "",
        "most_assistance": clause.most_assistance,
        "most_prompting": clause.most_prompting,
        "side_rule": clause.side_rule,
        "primary": clause.primary,
    }
