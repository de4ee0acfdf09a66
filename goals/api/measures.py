"""The forms of a measure and of a criterion, as they are sent and as they are shown."""

import re
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from clinic.api.examples import example
from clinic.api.fields import DecimalText, Flag, Id, StrictInput, Text, Whole, word
from goals.enums import (
    AssistanceLevel,
    Comparison,
    ConsistencyKind,
    IntervalMethod,
    MeasureKind,
    PromptKind,
    SideRule,
    Strata,
    VisitValue,
)
from goals.models import Goal, GoalPhase
from goals.selectors.definitions import levels_of

SCALE = re.compile(r"assistance|[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}")
MEASURE = {"kind": "accuracy", "trial_name": "buttons", "operational_definition": "Each button closed without a gap"}
CLAUSE = {"component": "accuracy", "comparison": "at_least", "value": "0.8", "primary": True}
CRITERION = {
    "clauses": [CLAUSE],
    "consistency": {"kind": "of_last", "k": 3, "m": 4},
    "minimum_data": {"trials": 10},
    "generalization": {"settings": 2},
}
UNITS = (
    "Times: s, min or h. Things counted stand in braces, like {turns}, and are then whole and not negative; else "
    "the unit of a quantity, like mm"
)
VISIT_VALUES = "`single` if left out, `sum` for prompts and rates; several trials of a value need another than `single`"
VALUES = (
    "Accuracy and interval: a part from 0 to 1, like 0.85 or 5/7. Ordered: the name of a level. Steps: how many done "
    "alone. Duration and latency: in the measure's unit. Rate: in `per_minutes`. Rating: -2 to 2"
)
NAMED = "`assistance` for level of assistance, or the id of a scale of the organization"


class ScaleName(Text):
    """Which ordered scale a measure uses."""

    def __init__(self, **options: Any) -> None:
        super().__init__(max_length=36, help_text=NAMED, **options)

    def to_internal_value(self, data: Any) -> str:
        name = super().to_internal_value(data)
        if not SCALE.fullmatch(name):
            raise serializers.ValidationError("Name `assistance` or the id of a scale", code="invalid")
        return name.lower()


@example(MEASURE)
class MeasureIn(StrictInput):
    """What is counted, in which unit, and how a visit's trials become its value."""

    kind = word(MeasureKind)
    unit = Text(max_length=100, required=False, help_text=UNITS)
    visit_value = word(VisitValue, required=False, help_text=VISIT_VALUES)
    strata = word(Strata, required=False, help_text="`step` for steps; else `none` if left out")
    names = serializers.ListField(
        child=Text(max_length=100),
        max_length=50,
        required=False,
        help_text="The steps in their order, or the exemplars; once given, no other name is taken in a measurement",
    )
    scale = ScaleName(required=False, allow_null=True)
    levels = serializers.ListField(
        child=Text(max_length=500), max_length=5, required=False, help_text="Of a rating: its five levels, from -2 to 2"
    )
    alone_at = word(
        AssistanceLevel, required=False, help_text="Most help with which a step counts as done alone; `supervision`"
    )
    interval_method = word(
        IntervalMethod, required=False, allow_null=True, help_text="Of intervals: when one is scored"
    )
    per_minutes = DecimalText(required=False, help_text="Of a rate: events in so many minutes; 1 if left out")
    standard_error = DecimalText(
        required=False, allow_null=True, help_text="Of a score: its standard error of measurement, for reliable change"
    )
    trial_name = Text(max_length=100, required=False, help_text="What sentences call the trials: buttons, letters")
    independent_trials = Flag(
        required=False, help_text="false where one trial tells of the next, like the letters of one sentence"
    )
    operational_definition = Text(
        max_length=2000,
        multiline=True,
        required=False,
        allow_blank=True,
        help_text="In words, what counts as a success, so that everybody counts alike",
    )


@example(CLAUSE)
class ClauseIn(StrictInput):
    """One part of a criterion; values are decimals, fractions like 5/7, or names of the scale."""

    component = word(
        MeasureKind, required=False, help_text="The goal's own kind if left out, else the kind of a further component"
    )
    comparison = word(Comparison)
    value = Text(max_length=100, help_text=VALUES)
    upper = Text(max_length=100, required=False, allow_null=True, help_text="Of `within` only: the upper end")
    share = Text(
        max_length=40,
        required=False,
        allow_null=True,
        help_text="How many exemplars, sides or trials must reach the value: a count like 2, or a part like 2/3",
    )
    most_assistance = word(
        AssistanceLevel, required=False, allow_null=True, help_text="Trials with more help do not satisfy"
    )
    most_prompting = word(
        PromptKind, required=False, allow_null=True, help_text="Trials with a heavier cue do not satisfy"
    )
    side_rule = word(SideRule, required=False, allow_null=True, help_text="Only where the measure tells sides apart")
    primary = Flag(
        required=False, help_text="One clause, of the goal's own kind, feeds the statistics; of several, mark it"
    )


@example({"kind": "of_last", "k": 3, "m": 4})
class ConsistencyIn(StrictInput):
    """Over which visits the clauses must hold: k of the last m, k in a row, or pooled over n visits or days."""

    kind = word(ConsistencyKind, help_text="`of_last` has k and m, `in_a_row` k, `pooled_visits` n, `pooled_days` days")
    k = Whole(min_value=1, max_value=100, required=False, allow_null=True, help_text="So many visits must satisfy")
    m = Whole(min_value=1, max_value=100, required=False, allow_null=True, help_text="Of the last so many")
    n = Whole(min_value=1, max_value=100, required=False, allow_null=True, help_text="The last so many, pooled")
    days = Whole(min_value=1, max_value=366, required=False, allow_null=True, help_text="The last so many days, pooled")


@example({"trials": 10})
class MinimumDataIn(StrictInput):
    """What a visit must have measured to be looked at."""

    trials = Whole(min_value=1, required=False, allow_null=True)
    intervals = Whole(min_value=1, required=False, allow_null=True)
    days = Whole(min_value=1, required=False, allow_null=True, help_text="Days written down, of a diary by the day")
    minutes = Text(max_length=40, required=False, allow_null=True, help_text="Minutes watched, like 15 or 12.5")


@example({"settings": 2})
class GeneralizationIn(StrictInput):
    """In how many settings, and with how many partners."""

    settings = Whole(min_value=1, max_value=100, required=False, help_text="1 if left out: told by `setting`")
    partners = Whole(min_value=1, max_value=100, required=False, help_text="1 if left out: told by `partner`")


@example(CRITERION)
class CriterionIn(StrictInput):
    """When a goal is met: clauses joined by "and", how often, on how much data, where and with whom."""

    clauses = serializers.ListField(child=ClauseIn(), min_length=1, max_length=4)
    consistency = ConsistencyIn()
    minimum_data = MinimumDataIn(required=False)
    generalization = GeneralizationIn(required=False)


class Measure(serializers.Serializer):
    """A measure as it is recorded."""

    kind = serializers.ChoiceField(choices=[each.value for each in MeasureKind])
    unit = serializers.CharField()
    visit_value = serializers.ChoiceField(choices=[each.value for each in VisitValue])
    strata = serializers.ChoiceField(choices=[each.value for each in Strata])
    names = serializers.ListField(child=serializers.CharField())
    scale = serializers.CharField(allow_null=True, help_text=NAMED)
    scale_levels = serializers.ListField(child=serializers.CharField(), help_text="Lowest first")
    levels = serializers.ListField(child=serializers.CharField())
    alone_at = serializers.ChoiceField(choices=[each.value for each in AssistanceLevel])
    interval_method = serializers.ChoiceField(choices=[each.value for each in IntervalMethod], allow_null=True)
    per_minutes = DecimalText()
    standard_error = DecimalText(allow_null=True)
    trial_name = serializers.CharField()
    independent_trials = serializers.BooleanField()
    operational_definition = serializers.CharField()


class Clause(serializers.Serializer):
    """One part of a criterion."""

    component = serializers.ChoiceField(choices=[each.value for each in MeasureKind])
    comparison = serializers.ChoiceField(choices=[each.value for each in Comparison])
    value = serializers.CharField()
    upper = serializers.CharField(allow_null=True)
    share = serializers.CharField(allow_null=True)
    most_assistance = serializers.ChoiceField(choices=[each.value for each in AssistanceLevel], allow_null=True)
    most_prompting = serializers.ChoiceField(choices=[each.value for each in PromptKind], allow_null=True)
    side_rule = serializers.ChoiceField(choices=[each.value for each in SideRule], allow_null=True)
    primary = serializers.BooleanField()


class Consistency(serializers.Serializer):
    """Over which visits the clauses must hold."""

    kind = serializers.ChoiceField(choices=[each.value for each in ConsistencyKind])
    k = serializers.IntegerField(allow_null=True)
    m = serializers.IntegerField(allow_null=True)
    n = serializers.IntegerField(allow_null=True)
    days = serializers.IntegerField(allow_null=True)


class MinimumData(serializers.Serializer):
    """What a visit must have measured."""

    trials = serializers.IntegerField(allow_null=True)
    intervals = serializers.IntegerField(allow_null=True)
    days = serializers.IntegerField(allow_null=True)
    minutes = DecimalText(allow_null=True)


class Generalization(serializers.Serializer):
    """In how many settings, and with how many partners."""

    settings = serializers.IntegerField()
    partners = serializers.IntegerField()


class Criterion(serializers.Serializer):
    """When a goal is met."""

    clauses = Clause(many=True)
    consistency = Consistency()
    minimum_data = MinimumData()
    generalization = Generalization()


class Phase(serializers.Serializer):
    """A stretch of a goal's course, with the criterion that holds in it."""

    ordinal = serializers.IntegerField()
    kind = serializers.CharField()
    starts_on = serializers.DateField()
    ends_on = serializers.DateField(allow_null=True)
    criterion = serializers.SerializerMethodField()
    written_by = Id(source="written_by_id")
    written_at = serializers.DateTimeField()

    @extend_schema_field(Criterion(allow_null=True))
    def get_criterion(self, row: GoalPhase) -> Any:
        return None if row.consistency is None else Criterion(criterion_shown(row)).data


def measure_shown(goal: Goal) -> dict[str, Any]:
    """A goal's own measure, member by member."""
    return {
        "kind": goal.measure,
        "names": goal.strata_names,
        "scale": _scale_shown(goal),
        "scale_levels": list(levels_of(goal)),
        "operational_definition": goal.definition,
        **{name: getattr(goal, name) for name in COLUMNS},
    }


COLUMNS = (
    "unit",
    "visit_value",
    "strata",
    "levels",
    "alone_at",
    "interval_method",
    "per_minutes",
    "standard_error",
    "trial_name",
    "independent_trials",
)


def _scale_shown(goal: Goal) -> str | None:
    if goal.measure != MeasureKind.ORDERED:
        return None
    return str(goal.scale_id) if goal.scale_id else "assistance"


def component_shown(stored: dict[str, Any]) -> dict[str, Any]:
    """A further component, member by member."""
    spec = stored["spec"]
    return {
        "names": [],
        "interval_method": None,
        "standard_error": spec.get("sem"),
        "scale": stored["scale"],
        "scale_levels": spec.get("scale", []),
        "levels": stored["levels"],
        "operational_definition": stored["definition"],
        **{name: value for name, value in spec.items() if name not in ("sem", "scale")},
    }


def criterion_shown(row: GoalPhase) -> dict[str, Any]:
    """The criterion of a phase, member by member."""
    of = row.consistency
    return {
        "clauses": [
            {
                "component": clause.component,
                "comparison": clause.comparison,
                "value": clause.value,
                "upper": clause.upper_value or None,
                "share": clause.share or None,
                "most_assistance": clause.most_assistance,
                "most_prompting": clause.most_prompting,
                "side_rule": clause.side_rule,
                "primary": clause.primary,
            }
            for clause in row.clauses.all()
        ],
        "consistency": {
            "kind": of,
            "k": row.needed,
            "m": row.window if of == ConsistencyKind.OF_LAST else None,
            "n": row.window if of == ConsistencyKind.POOLED_VISITS else None,
            "days": row.window if of == ConsistencyKind.POOLED_DAYS else None,
        },
        "minimum_data": {
            "trials": row.minimum_trials,
            "intervals": row.minimum_intervals,
            "days": row.minimum_days,
            "minutes": row.minimum_minutes,
        },
        "generalization": {"settings": row.settings_needed, "partners": row.partners_needed},
    }
