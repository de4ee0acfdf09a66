"""Forms of what holds from a day to a day."""

from typing import Any

from rest_framework import serializers

from clinic.api.examples import example
from clinic.api.fields import Day, StrictInput


class PeriodIn(StrictInput):
    """Days from the first to the last, both included; without a last day it goes on."""

    starts_on = Day()
    ends_on = Day(required=False, allow_null=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs.get("ends_on") is not None and attrs["ends_on"] < attrs["starts_on"]:
            detail = serializers.ErrorDetail("The last day lies before the first", code="before_start")
            raise serializers.ValidationError({"ends_on": [detail]})
        return attrs


@example({"ends_on": "2026-06-30"})
class PeriodEndIn(StrictInput):
    """The last day, included; null lets it go on."""

    ends_on = Day(allow_null=True)


class PeriodRecord(serializers.Serializer):
    """What every period's answer carries."""

    id = serializers.UUIDField()
    version = serializers.IntegerField()
    starts_on = serializers.DateField()
    ends_on = serializers.DateField(allow_null=True)


def not_in_the_future(form: serializers.Serializer, day: Any) -> Any:
    """Refuse a day after today's in the organization."""
    if day is not None and day > form.context["view"].actor.today:
        raise serializers.ValidationError("This day lies in the future", code="in_the_future")
    return day
