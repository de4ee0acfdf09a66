"""How one measurement is written down in a note, as it is documented; the rules of progress judge what is sent."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from clinic.api.examples import example
from clinic.api.fields import DECIMAL, AnyObject, Id, Instant, StrictInput, Text, Whole, word
from goals.api.sample_goals import GOAL, SAMPLES
from goals.enums import (
    AssistanceLevel,
    Censored,
    MeasurementSource,
    NotMeasuredReason,
    PromptKind,
    Side,
)

COUNT: dict[str, Any] = {"type": "integer", "minimum": 0, "maximum": 100_000}
NUMBER: dict[str, Any] = {"oneOf": [{"type": "integer"}, {"type": "string", "pattern": DECIMAL}]}
VALUE: dict[str, Any] = {"oneOf": [{"type": "integer"}, {"type": "string", "minLength": 1, "maxLength": 100}]}
CENSORED = "The value is only known to be at least, or at most, this: the activity was ended, or the watch ran out"
VALUE_HELP = (
    "A whole number, or a string like `12.5`; times in the measure's unit. Ordered: the name of a level, or its place "
    "from 0. Rating: -2 to 2. Rate: the events counted in the time `watched`"
)
TALLY_HELP = (
    "How many trials at each level of assistance, kind of prompt, or `success` and `failure`; opportunities beyond "
    "them were failures. For prompts: how many cues of each kind"
)


@extend_schema_field(VALUE)
class Value(serializers.Field):
    """A number, or the name of a level."""


@extend_schema_field(NUMBER)
class Number(serializers.Field):
    """A number, whole or as a string."""


@extend_schema_field({"type": "object", "additionalProperties": COUNT, "minProperties": 1})
class Tally(serializers.Field):
    """Counts by name."""


def count(help_text: str) -> Whole:
    return Whole(min_value=0, max_value=100_000, required=False, help_text=help_text)


@example({"step": "right arm", "assistance": "minimal"})
class TrialIn(StrictInput):
    """One trial: `success` where trials succeed or fail, else a `value`; of steps, the help is enough."""

    success = serializers.BooleanField(required=False, help_text="Kinds accuracy, interval and steps only")
    value = Value(required=False, help_text=VALUE_HELP)
    censored = word(Censored, required=False, help_text=CENSORED)
    assistance = word(AssistanceLevel, required=False, help_text="The help it took")
    prompt = word(PromptKind, required=False, help_text="The heaviest cue it took")
    side = word(Side, required=False, help_text="Needed where the measure tells sides apart")
    exemplar = Text(max_length=100, required=False, help_text="Needed where the measure tells exemplars apart")
    step = Text(max_length=100, required=False, help_text="Of steps: its name among the measure's `names`")
    at = Instant(required=False, help_text="When, if it was noted")


@example({"value": "115"})
class NumbersIn(StrictInput):
    """Numbers of one component, in exactly one form: `trials`, `tally`, `successes` of `opportunities`, or `value`."""

    trials = serializers.ListField(
        child=TrialIn(), min_length=1, max_length=2000, required=False, help_text="Every kind but rating and score"
    )
    tally = Tally(required=False, help_text=f"{TALLY_HELP}. Kinds accuracy, steps and prompts")
    successes = count("With `opportunities`. Kinds accuracy, interval and steps")
    opportunities = count("How often it could have succeeded; at least one, and none is a reason in `not_measured`")
    value = Value(required=False, help_text=f"{VALUE_HELP}. Every kind but accuracy, interval and steps")
    censored = word(Censored, required=False, help_text=CENSORED)
    watched = Number(required=False, help_text="Minutes watched; a rate needs them")


@example({"goal": GOAL, "successes": 7, "opportunities": 10})
class MeasurementIn(NumbersIn):
    """One goal's numbers of a visit: in exactly one form, or `not_measured` with the reason.

    Forms by kind: accuracy `successes`+`opportunities`, `tally` or `trials`; interval `successes`+`opportunities` or
    `trials`; steps `trials` (each `step` with its `assistance` or `success`), `tally` or
    `successes`+`opportunities`; prompts `value`, `tally` or `trials`; rate `value` (or `trials`) with `watched`;
    duration, latency, quantity and ordered `value` or `trials`; rating and score `value`. Where a measure tells
    sides or exemplars apart, `trials` name theirs. The examples of a note's body show each.
    """

    goal = Id(help_text="A goal of this child in this episode")
    slot = Whole(
        min_value=1, max_value=100, required=False, help_text="1 if left out; a second set of numbers of one goal is 2"
    )
    components = serializers.DictField(
        child=NumbersIn(), required=False, help_text="Numbers of the goal's further components, by their kind"
    )
    not_measured = word(
        NotMeasuredReason, required=False, help_text="Why there are no numbers, which then are left out; never a zero"
    )
    source = word(  # type: ignore[assignment]
        MeasurementSource, required=False, help_text="`clinician` if left out"
    )
    observer = Text(max_length=100, required=False, allow_blank=True, help_text="Who counted, if it was not the author")
    setting = Text(
        max_length=100,
        required=False,
        allow_blank=True,
        help_text="Where, in the team's words (clinic, classroom); different words count as different settings",
    )
    partner = Text(
        max_length=100, required=False, allow_blank=True, help_text="With whom; different words are different partners"
    )
    observed_from = Instant(
        required=False, help_text="Where it was measured over a time of its own, like a diary's week"
    )
    observed_until = Instant(required=False, help_text="To which it was measured")
    replaces = Id(
        required=False,
        help_text="Of an addendum only: the id of the measurement that counts now and is corrected",
    )


@extend_schema_field(MeasurementIn)
class JudgedMeasurement(AnyObject):
    """A measurement as it was sent; what cannot be true of its goal's kind is refused by the rules of progress."""


class Measurements(serializers.ListField):
    """The measurements of a note or an addendum."""

    def __init__(self, **options: Any) -> None:
        super().__init__(child=JudgedMeasurement(), required=False, max_length=200, **options)


MEASURED = {shown: sample.measurement() for shown, sample in SAMPLES.items()}
