"""Which writing systems a word is written in, so that a letter of one cannot stand for its double in another.

Source: Unicode Technical Standard 39, section 5.2 (restriction levels): a word of one script, or of Latin letters with
those that are written beside them in East Asia ("highly restrictive").
"""

import re
import unicodedata

WORD = re.compile(r"[^\W_]+", re.UNICODE)
# Letters that every script uses; their Unicode names begin like those of a script.
OF_EVERY_SCRIPT = {"MODIFIER", "MICRO", "KATAKANA-HIRAGANA"}
ALSO = {
    "CJK": "HAN",
    "IDEOGRAPHIC": "HAN",
    "HENTAIGANA": "HIRAGANA",
    "TURNED": "LATIN",
    "ROMAN": "LATIN",
    "FEMININE": "LATIN",
    "MASCULINE": "LATIN",
}
TOGETHER = (
    frozenset({"LATIN", "HAN", "HIRAGANA", "KATAKANA"}),
    frozenset({"LATIN", "HAN", "BOPOMOFO"}),
    frozenset({"LATIN", "HAN", "HANGUL"}),
)
# Whose letters a joiner may stand between: it changes how they are drawn (UAX 31, section 2.3).
JOINED = {
    "ARABIC", "SYRIAC", "MONGOLIAN", "DEVANAGARI", "BENGALI", "GURMUKHI", "GUJARATI", "ORIYA", "TAMIL", "TELUGU",
    "KANNADA", "MALAYALAM", "SINHALA", "KHMER", "MYANMAR", "TIBETAN",
}  # fmt: skip


def script_of(character: str) -> str | None:
    """The script of a letter as the first word of its Unicode name; None for what no one script owns."""
    if unicodedata.category(character)[0] != "L":
        return None
    first = _first_word(character)
    if not first or first in OF_EVERY_SCRIPT:
        return None
    return ALSO.get(first, first)


def mixes_scripts(text: str) -> bool:
    """True when one of its words is written in scripts that are not written together."""
    return any(not _belong_together(scripts_in(word)) for word in WORD.findall(text))


def scripts_in(word: str) -> set[str]:
    return {script for character in word if (script := script_of(character))}


def joins(text: str, place: int) -> bool:
    """Whether the joiner at this place stands between letters or marks of scripts that are drawn with it."""
    if place == 0 or place + 1 == len(text):
        return False
    return {_first_word(text[place - 1]), _first_word(text[place + 1])} <= JOINED


def _first_word(character: str) -> str:
    return unicodedata.name(character, "").partition(" ")[0]


def _belong_together(scripts: set[str]) -> bool:
    return len(scripts) <= 1 or any(scripts <= together for together in TOGETHER)
