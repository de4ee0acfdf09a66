"""JSON in, strictly: no NaN, no NUL, no lone surrogates, no doubled members, and an end to size, depth and lists."""

import json
from collections.abc import Iterable
from typing import Any

import orjson
from django.conf import settings
from django.core.exceptions import RequestDataTooBig
from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser


class StrictJSONParser(BaseParser):
    """One JSON object; anything else is refused before a view sees it."""

    media_type = "application/json"

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> Any:
        limit = settings.DATA_UPLOAD_MAX_MEMORY_SIZE
        raw = stream.read(limit + 1)
        if len(raw) > limit:
            raise RequestDataTooBig
        return parsed(raw)


def parsed(raw: bytes) -> Any:
    """The value of a JSON text (RFC 8259), or ParseError with a code that says what is wrong with it."""
    try:
        data = orjson.loads(raw)
    except orjson.JSONDecodeError as exc:
        raise ParseError("The body is not valid JSON", code="malformed_json") from exc
    fault = _fault(data)
    if fault:
        raise ParseError(*fault)
    if isinstance(data, dict) and raw.count(b'"') > 2:
        _refuse_doubled_members(raw)
    return data


def _fault(data: Any) -> tuple[str, str] | None:
    """Walks without recursion: the depth is the sender's to choose."""
    level, depth, count = [data], 0, 0
    while level:
        depth, count = depth + 1, count + len(level)
        if depth > settings.JSON_MAX_DEPTH:
            return "The body is nested too deeply", "too_deep"
        if count > settings.JSON_MAX_VALUES:
            return "The body holds too many values", "too_many_values"
        below: list[Any] = []
        for item in level:
            if isinstance(item, str) and "\x00" in item:
                return "The body holds a NUL character", "null_character"
            if isinstance(item, dict):
                if any("\x00" in name for name in item):
                    return "The body holds a NUL character", "null_character"
                below.extend(item.values())
            elif isinstance(item, list):
                below.extend(item)
        level = below
    return None


def _refuse_doubled_members(raw: bytes) -> None:
    def once(pairs: Iterable[tuple[str, Any]]) -> dict[str, Any]:
        found: dict[str, Any] = {}
        for name, value in pairs:
            if name in found:
                raise ParseError("A member stands twice in one object", code="doubled_member")
            found[name] = value
        return found

    json.loads(raw, object_pairs_hook=once)
