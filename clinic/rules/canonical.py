"""Signed content as bytes: one spelling of a record (RFC 8785), and its digest."""

import hashlib
import re
from enum import StrEnum
from typing import Any

import rfc8785

MAX_DEPTH = 40
MAX_INTEGER = 2**53 - 1
UNFREEZABLE_CHARACTER = re.compile("[\x00\ud800-\udfff]")


class FreezeFault(StrEnum):
    """What content may not hold if two systems are to spell it the same way."""

    NOT_AN_OBJECT = "not_an_object"
    KEY_NOT_TEXT = "key_not_text"
    UNSUPPORTED_TYPE = "unsupported_type"
    INTEGER_TOO_LARGE = "integer_too_large"
    NUL_CHARACTER = "nul_character"
    LONE_SURROGATE = "lone_surrogate"
    TOO_DEEP = "too_deep"


class NotFreezable(ValueError):
    """Content that cannot be signed as it stands: the fault, and a JSON pointer to it."""

    def __init__(self, code: FreezeFault, pointer: str) -> None:
        super().__init__(f"{code.value} at {pointer or 'the root'}")
        self.code = code
        self.pointer = pointer


def freeze(content: dict[str, Any]) -> bytes:
    """The one canonical spelling of the content; refuses floats and whatever else has more than one."""
    if not isinstance(content, dict):
        raise NotFreezable(FreezeFault.NOT_AN_OBJECT, "")
    _require_freezable(content)
    return rfc8785.dumps(content)


def digest(frozen: bytes) -> str:
    """The SHA-256 of frozen content, in hexadecimal."""
    return hashlib.sha256(frozen).hexdigest()


def _require_freezable(content: dict[str, Any]) -> None:
    # A stack of our own: content nested 100,000 deep must meet the limit, not the interpreter's.
    waiting: list[tuple[Any, str, int]] = [(content, "", 1)]
    while waiting:
        value, pointer, depth = waiting.pop()
        if isinstance(value, (dict, list)) and depth > MAX_DEPTH:
            raise NotFreezable(FreezeFault.TOO_DEEP, pointer)
        if isinstance(value, dict):
            for key, member in value.items():
                waiting.append((member, f"{pointer}/{_pointer_step(key, pointer)}", depth + 1))
        elif isinstance(value, list):
            waiting.extend((item, f"{pointer}/{index}", depth + 1) for index, item in enumerate(value))
        elif fault := _scalar_fault(value):
            raise NotFreezable(fault, pointer)


def _pointer_step(key: object, pointer: str) -> str:
    """A member's name as a step of a JSON pointer (RFC 6901); refuses a name that cannot be frozen."""
    if not isinstance(key, str):
        raise NotFreezable(FreezeFault.KEY_NOT_TEXT, pointer)
    if fault := _text_fault(key):
        raise NotFreezable(fault, pointer)
    return key.replace("~", "~0").replace("/", "~1")


def _scalar_fault(value: object) -> FreezeFault | None:
    if value is None or isinstance(value, bool):
        return None
    if isinstance(value, str):
        return _text_fault(value)
    if isinstance(value, int):
        return FreezeFault.INTEGER_TOO_LARGE if abs(value) > MAX_INTEGER else None
    return FreezeFault.UNSUPPORTED_TYPE


def _text_fault(text: str) -> FreezeFault | None:
    found = UNFREEZABLE_CHARACTER.search(text)
    if found is None:
        return None
    return FreezeFault.NUL_CHARACTER if found.group() == "\x00" else FreezeFault.LONE_SURROGATE
