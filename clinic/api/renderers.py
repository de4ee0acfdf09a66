"""JSON out: orjson, with decimals as strings and instants in UTC."""

from datetime import datetime
from decimal import Decimal
from typing import Any

import orjson
from rest_framework.renderers import JSONRenderer

OPTIONS = orjson.OPT_UTC_Z | orjson.OPT_NON_STR_KEYS


def _default(value: Any) -> Any:
    if isinstance(value, Decimal):
        return plain_decimal(value)
    if isinstance(value, memoryview | bytes):
        return bytes(value).decode()
    if hasattr(value, "hex") and hasattr(value, "int"):
        return str(value)
    raise TypeError(type(value).__name__)


def plain_decimal(value: Decimal) -> str:
    """A decimal without exponent and trailing zeros."""
    text = format(value, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def dumps(data: Any) -> bytes:
    return orjson.dumps(data, default=_default, option=OPTIONS)


def instant(value: datetime | None) -> str | None:
    return value.isoformat().replace("+00:00", "Z") if value else None


class ORJSONRenderer(JSONRenderer):
    """What was rendered before (a stored answer) goes out byte for byte."""

    charset = None

    def render(self, data: Any, accepted_media_type: str | None = None, renderer_context: Any = None) -> bytes:
        if data is None:
            return b""
        return data if isinstance(data, bytes) else dumps(data)
