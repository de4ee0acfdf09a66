"""How findings are shown: each number, or why there is none, with the sentence that tells what it rests on."""

from typing import Any

from rest_framework import serializers

from clinic.api.fields import DecimalText
from goals.enums import Achievement, Bound, CriterionState, MissingCode


def one_word(words: Any, **options: Any) -> serializers.ChoiceField:
    """One word of a list, as it is shown."""
    return serializers.ChoiceField(choices=[each.value for each in words], **options)


class Missing(serializers.Serializer):
    """Why there is no number."""

    code = one_word(MissingCode)
    sentence = serializers.CharField()
    needs = serializers.IntegerField(allow_null=True)
    has = serializers.IntegerField(allow_null=True)


class Figure(serializers.Serializer):
    """One number of a goal, or why there is none."""

    value = DecimalText(allow_null=True)
    name = serializers.CharField(allow_null=True, help_text="The level, of an ordered kind")
    bound = one_word(Bound, allow_null=True)
    points = serializers.IntegerField()
    sentence = serializers.CharField()
    missing = Missing(allow_null=True)


class Slope(serializers.Serializer):
    """Theil-Sen slope a week with its 95 % interval."""

    value = DecimalText(allow_null=True)
    low = DecimalText(allow_null=True)
    high = DecimalText(allow_null=True)
    bound = one_word(Bound, allow_null=True)
    points = serializers.IntegerField()
    full_interval = serializers.BooleanField()
    sentence = serializers.CharField()
    missing = Missing(allow_null=True)


class CriterionFound(serializers.Serializer):
    """Whether the criterion is met: satisfied visits of the window, and when it was first met."""

    state = one_word(CriterionState)
    satisfied = serializers.IntegerField()
    window = serializers.IntegerField()
    needed = serializers.IntegerField()
    preliminary = serializers.BooleanField()
    first_met_on = serializers.DateField(allow_null=True)
    sentence = serializers.CharField()
    missing = Missing(allow_null=True)


class ProportionInterval(serializers.Serializer):
    """Wilson's interval of the pooled last visits."""

    successes = serializers.IntegerField()
    counted = serializers.IntegerField()
    low = DecimalText()
    high = DecimalText()
    visits = serializers.IntegerField()
    sentence = serializers.CharField()


class RankChange(serializers.Serializer):
    """Levels gained of those needed, for ordered kinds."""

    gained = serializers.IntegerField()
    needed = serializers.IntegerField(allow_null=True)
    sentence = serializers.CharField()


class ReliableChange(serializers.Serializer):
    """The last score against the baseline, by the test's own measurement error."""

    index = DecimalText()
    reliable = serializers.BooleanField()
    sentence = serializers.CharField()


class Attainment(serializers.Serializer):
    """Goal attainment scaling's T, for this goal alone."""

    baseline = DecimalText(allow_null=True)
    now = DecimalText()
    sentence = serializers.CharField()


class MeasuredVisit(serializers.Serializer):
    """One visit's value, and whether it satisfies the criterion's clauses."""

    day = serializers.DateField()
    visit = serializers.UUIDField(help_text="The note that the numbers stand in")
    value = DecimalText(allow_null=True)
    name = serializers.CharField(allow_null=True)
    censored = serializers.CharField(allow_null=True)
    successes = serializers.IntegerField(allow_null=True)
    counted = serializers.IntegerField(allow_null=True)
    phase = serializers.CharField()
    phase_ordinal = serializers.IntegerField()
    preliminary = serializers.BooleanField()
    qualifies = serializers.BooleanField(allow_null=True)
    satisfied = serializers.BooleanField(allow_null=True)
    clauses = serializers.ListField(child=serializers.BooleanField(allow_null=True))


class Found(serializers.Serializer):
    """What the numbers say; every result with the sentence that tells what it rests on."""

    engine = serializers.CharField()
    input_digest = serializers.CharField()
    kind = serializers.CharField()
    unit = serializers.CharField()
    phase = serializers.CharField(allow_null=True)
    phase_ordinal = serializers.IntegerField(allow_null=True)
    criterion = CriterionFound()
    baseline = Figure()
    level = Figure()
    percent = Figure()
    slope = Slope()
    interval = ProportionInterval(allow_null=True)
    ranks = RankChange(allow_null=True)
    reliable_change = ReliableChange(allow_null=True)
    attainment = Attainment(allow_null=True)
    achievement = one_word(Achievement)
    preliminary = serializers.BooleanField()
    not_measured = serializers.IntegerField()
    outside_phases = serializers.IntegerField()
    visits = MeasuredVisit(many=True)
    sentences = serializers.ListField(child=serializers.CharField())
