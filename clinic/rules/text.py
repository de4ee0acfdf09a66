"""What people may type: text is taken as it stands or refused, never altered."""

import re
import unicodedata
from enum import StrEnum

SURROGATE = re.compile("[\ud800-\udfff]")
CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029]")
CONTROL_IN_LINES = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]")  # tab and line ends allowed
BIDI_CONTROL = re.compile("[\u202a-\u202e\u2066-\u2069]")


class TextFault(StrEnum):
    """Why a text is refused."""

    TOO_LONG = "too_long"
    LONE_SURROGATE = "lone_surrogate"
    CONTROL_CHARACTER = "control_character"
    BIDI_CONTROL = "bidi_control"
    BLANK = "blank"


def text_fault(value: str, *, max_length: int, multiline: bool = False) -> TextFault | None:
    """Why this text is refused, or None; one line (a name) also refuses what could reorder how it reads."""
    if len(value) > max_length:
        return TextFault.TOO_LONG
    if SURROGATE.search(value):
        return TextFault.LONE_SURROGATE
    if (CONTROL_IN_LINES if multiline else CONTROL).search(value):
        return TextFault.CONTROL_CHARACTER
    if not multiline and BIDI_CONTROL.search(value):
        return TextFault.BIDI_CONTROL
    if is_blank(value):
        return TextFault.BLANK
    return None


def is_blank(value: str) -> bool:
    """True when nothing would be seen: empty, spaces, or only invisible characters."""
    return all(unicodedata.category(character)[0] in "ZC" for character in value)
