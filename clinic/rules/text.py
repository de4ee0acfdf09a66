"""What people may type: text is taken as it stands or refused, never altered."""

import re
import unicodedata
from enum import StrEnum

from clinic.rules.scripts import joins, mixes_scripts

SURROGATE = re.compile("[\ud800-\udfff]")
CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029]")
CONTROL_IN_LINES = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]")  # tab and line ends allowed
BIDI_CONTROL = re.compile("[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
# Default_Ignorable_Code_Point of the Unicode Character Database, without joiners and variation selectors, and the
# interlinear marks: nothing is seen of them.
HIDDEN = re.compile(
    "[\u00ad\u034f\u115f\u1160\u17b4\u17b5\u180b-\u180f\u200b\u2060-\u2065\u206a-\u206f\u3164\ufeff\uffa0"
    "\ufff0-\ufffb\U0001bca0-\U0001bca3\U0001d173-\U0001d17a\U000e0000-\U000e0fff]"
)
VARIATION = re.compile("[\ufe00-\ufe0f]")
JOINER = re.compile("[\u200c\u200d]")
ANOTHER_FORM = ("<font>", "<wide>", "<narrow>", "<initial>", "<medial>", "<final>", "<isolated>")
MOST_MARKS = 4  # on one letter: Unicode Technical Standard 39, section 5.4


class TextFault(StrEnum):
    """Why a text is refused."""

    TOO_LONG = "too_long"
    LONE_SURROGATE = "lone_surrogate"
    CONTROL_CHARACTER = "control_character"
    BIDI_CONTROL = "bidi_control"
    BLANK = "blank"
    HIDDEN_CHARACTER = "hidden_character"
    UNKNOWN_CHARACTER = "unknown_character"
    NOT_NORMALIZED = "not_normalized"
    ODD_SPACES = "odd_spaces"
    MIXED_SCRIPTS = "mixed_scripts"
    TOO_MANY_MARKS = "too_many_marks"


IN_WORDS = {
    TextFault.HIDDEN_CHARACTER: "it holds a character that is not seen",
    TextFault.UNKNOWN_CHARACTER: "it holds a character that Unicode does not know",
    TextFault.NOT_NORMALIZED: "send it in Unicode's normal form C, in plain letters",
    TextFault.ODD_SPACES: "single plain spaces between words, none round them",
    TextFault.MIXED_SCRIPTS: "one word mixes letters of scripts that look alike",
    TextFault.TOO_MANY_MARKS: "more than four marks stand on one letter",
}


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
    if not multiline and HIDDEN.search(value):
        return TextFault.HIDDEN_CHARACTER
    if is_blank(value):
        return TextFault.BLANK
    return None


def name_fault(value: str, *, max_length: int) -> TextFault | None:
    """Why this is refused as a name, or None: what reads alike must be alike, or two of them are taken for one."""
    if fault := text_fault(value, max_length=max_length):
        return fault
    if VARIATION.search(value) or not all(joins(value, found.start()) for found in JOINER.finditer(value)):
        return TextFault.HIDDEN_CHARACTER
    if any(unicodedata.category(character) in ("Cn", "Co") for character in value):
        return TextFault.UNKNOWN_CHARACTER
    if not unicodedata.is_normalized("NFC", value) or any(_is_another_form(character) for character in value):
        return TextFault.NOT_NORMALIZED
    if " ".join(value.split()) != value:
        return TextFault.ODD_SPACES
    if mixes_scripts(value):
        return TextFault.MIXED_SCRIPTS
    return TextFault.TOO_MANY_MARKS if _most_marks(value) > MOST_MARKS else None


def in_words(fault: TextFault) -> str:
    return f"The text is not acceptable: {IN_WORDS.get(fault, fault.replace('_', ' '))}"


def _is_another_form(character: str) -> bool:
    """True of a letter or digit that is only drawn otherwise than the plain one: wide, bold, in its final form."""
    return unicodedata.decomposition(character).startswith(ANOTHER_FORM)


def _most_marks(value: str) -> int:
    """The length of the longest row of nonspacing marks."""
    most = row = 0
    for character in value:
        row = row + 1 if unicodedata.category(character) == "Mn" else 0
        most = max(most, row)
    return most


def is_blank(value: str) -> bool:
    """True when nothing would be seen: empty, spaces, or only invisible characters."""
    return all(unicodedata.category(character)[0] in "ZC" for character in value)
