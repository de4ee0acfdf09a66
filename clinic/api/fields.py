"""Fields that take what the document says and nothing else: no numbers as strings, no naive times."""

import re
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from typing import Any
from zoneinfo import available_timezones

from django.core.validators import RegexValidator
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from clinic.rules.text import TextFault, in_words, name_fault, text_fault

RFC3339 = re.compile(
    r"^[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt][0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]{1,6})?([Zz]|[+-][0-9]{2}:[0-9]{2})$"
)
DATE = re.compile(r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$")
DECIMAL = r"^-?[0-9]{1,12}(\.[0-9]{1,6})?$"
FIRST_YEAR, LAST_YEAR = 1900, 2200


class StrictInput(serializers.Serializer):
    """Members that are not named are refused, so that a misspelt one is never lost in silence."""

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, dict):
            unknown = sorted(set(map(str, data)) - set(self.fields))
            if unknown:
                raise serializers.ValidationError(
                    {
                        name: [serializers.ErrorDetail("This member is not known here", code="unknown_member")]
                        for name in unknown
                    }
                )
        return super().to_internal_value(data)


class Text(serializers.CharField):
    """A string as it is, within its length, without control characters; never altered."""

    def __init__(self, *, multiline: bool = False, **options: Any) -> None:
        self.multiline = multiline
        options.setdefault("trim_whitespace", False)
        options.setdefault("max_length", 200)
        super().__init__(**options)

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            self.fail("invalid")
        if data == "" and self.allow_blank:
            return data
        if fault := self.fault(data):
            raise serializers.ValidationError(in_words(fault), code=fault)
        return data

    def fault(self, data: str) -> TextFault | None:
        return text_fault(data, max_length=self.max_length or 0, multiline=self.multiline)


class Name(Text):
    """What a person, a place or a scale is called: no two names look the same and are not."""

    def fault(self, data: str) -> TextFault | None:
        return name_fault(data, max_length=self.max_length or 0)


class Whole(serializers.IntegerField):
    """A JSON integer; true, 7.0 and "7" are refused."""

    def to_internal_value(self, data: Any) -> int:
        if type(data) is not int:
            self.fail("invalid")
        return data


class Flag(serializers.BooleanField):
    """true or false, nothing that resembles them."""

    def to_internal_value(self, data: Any) -> bool:
        if type(data) is not bool:
            self.fail("invalid", input=data)
        return data


class Day(serializers.DateField):
    """A date YYYY-MM-DD between 1900 and 2200."""

    def to_internal_value(self, value: Any) -> date:
        if not isinstance(value, str) or not DATE.fullmatch(value):
            self.fail("invalid", format="YYYY-MM-DD")
        try:
            day = date.fromisoformat(value)
        except ValueError:
            self.fail("invalid", format="YYYY-MM-DD")
        if not FIRST_YEAR <= day.year <= LAST_YEAR:
            raise serializers.ValidationError("The year is out of range", code="out_of_range")
        return day


class Instant(serializers.DateTimeField):
    """An RFC 3339 time with its offset; a naive one is refused."""

    def to_internal_value(self, value: Any) -> datetime:
        if not isinstance(value, str) or not RFC3339.fullmatch(value):
            raise serializers.ValidationError(
                "Give an RFC 3339 time with its offset, like 2026-03-03T09:00:00-05:00", code="not_rfc3339"
            )
        try:
            moment = datetime.fromisoformat(value.upper().replace("Z", "+00:00"))
        except ValueError:
            raise serializers.ValidationError("There is no such time", code="not_rfc3339") from None
        if not FIRST_YEAR <= moment.year <= LAST_YEAR:
            raise serializers.ValidationError("The year is out of range", code="out_of_range")
        return moment

    def to_representation(self, value: Any) -> Any:
        return value.isoformat().replace("+00:00", "Z") if isinstance(value, datetime) else value


@extend_schema_field({"type": "string", "pattern": DECIMAL})
class DecimalText(serializers.Field):
    """A decimal as a string, so that no reader rounds it."""

    default_error_messages = {"invalid": 'Give a decimal as a string, like "12.5"'}

    def to_internal_value(self, data: Any) -> Decimal:
        if not isinstance(data, str) or not re.fullmatch(DECIMAL, data):
            self.fail("invalid")
        try:
            return Decimal(data)
        except InvalidOperation:
            self.fail("invalid")
        return Decimal(0)

    def to_representation(self, value: Any) -> str:
        text = format(Decimal(value), "f")
        return text.rstrip("0").rstrip(".") if "." in text else text


class Id(serializers.UUIDField):
    """A UUID in its usual form with hyphens."""

    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, str) or len(data) != 36:
            self.fail("invalid", value="")
        return super().to_internal_value(data)


class ZoneName(Text):
    """An IANA time zone."""

    def __init__(self, **options: Any) -> None:
        super().__init__(max_length=64, **options)

    def to_internal_value(self, data: Any) -> str:
        name = super().to_internal_value(data)
        if name not in available_timezones():
            raise serializers.ValidationError("This time zone is not known", code="unknown_time_zone")
        return name


@extend_schema_field(OpenApiTypes.OBJECT)
class AnyObject(serializers.JSONField):
    """A JSON object whose members another rule judges."""

    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, dict):
            raise serializers.ValidationError("Give an object", code="not_an_object")
        return data


def word(words: Any, **options: Any) -> serializers.ChoiceField:
    """One word of a list."""
    return Word(choices=[item.value for item in words], **options)


class Word(serializers.ChoiceField):
    """A choice by its exact string."""

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str) or data not in self.choices:
            known = ", ".join(map(str, self.choices))
            raise serializers.ValidationError(f"This is one of: {known}", code="invalid_choice")
        return data


class Pattern(Text):
    """A short code of one form."""

    def __init__(self, pattern: str, **options: Any) -> None:
        super().__init__(validators=[RegexValidator(pattern)], **options)


class QueryFlag(Flag):
    """A flag in a query: the word true or the word false."""

    def to_internal_value(self, data: Any) -> bool:
        return super().to_internal_value({"true": True, "false": False}.get(data, data))


def country(**options: Any) -> Pattern:
    """ISO 3166-1, two letters."""
    return Pattern(r"^[A-Z]{2}\Z", max_length=2, **options)


def subdivision(**options: Any) -> Pattern:
    """The part of an ISO 3166-2 code behind the country's."""
    return Pattern(r"^[A-Z0-9]{1,3}\Z", max_length=3, **options)


def jurisdiction(**options: Any) -> Pattern:
    """A country, or one of its subdivisions (ISO 3166-2), like US-IL."""
    return Pattern(r"^[A-Z]{2}(-[A-Z0-9]{1,3})?\Z", max_length=6, **options)
