"""Plain values for signed content, answers and digests: strings, integers, booleans, nulls."""

from dataclasses import fields, is_dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from goals.progress.decimals import written


def as_json(value: Any) -> Any:
    """A value as strings, integers, booleans, nulls, lists and objects, with nothing left out."""
    if is_dataclass(value) and not isinstance(value, type):
        return {item.name: as_json(getattr(value, item.name)) for item in fields(value)}
    if isinstance(value, Decimal):
        return written(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, (list, tuple)):
        return [as_json(item) for item in value]
    if isinstance(value, dict):
        return {str(key): as_json(item) for key, item in value.items()}
    return value if value is None or isinstance(value, (bool, int)) else str(value)
