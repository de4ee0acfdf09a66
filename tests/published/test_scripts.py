"""The scripts of letters against the Unicode Character Database, as the package `regex` carries it.

Sources: Unicode Standard Annex 24 (Script property); Unicode Technical Standard 39, sections 5.2 and 5.4.
"""

import sys
import unicodedata
from functools import partial

import pytest
import regex

from clinic.rules.scripts import OF_EVERY_SCRIPT, mixes_scripts, script_of
from clinic.rules.text import HIDDEN, JOINER, VARIATION

# Scripts that people's names are written in, and those that hold doubles of Latin letters.
SCRIPTS = """
    Latin Cyrillic Greek Armenian Cherokee Coptic Lisu Georgian Hebrew Arabic Devanagari Bengali Tamil Thai Han Hiragana
    Katakana Hangul Bopomofo Ethiopic
"""
is_normal = partial(unicodedata.is_normalized, "NFC")
# Marks that no name holds: a stretch within an Arabic word; repeat and closing marks of Japanese and old books.
OTHERWISE = {"\u0640", "\u3006", "\u303b", "\U00016fe3"}
LETTERS = [chr(point) for point in range(sys.maxunicode + 1) if unicodedata.category(chr(point))[0] == "L"]


@pytest.mark.parametrize("script", SCRIPTS.split())
def test_a_letters_script_is_that_of_the_character_database(script):
    """Of every letter that Unicode gives to this script; in passing, forms that no name may hold are left out."""
    of_script = regex.compile(rf"\p{{Script={script}}}")
    plain = [one for one in LETTERS if not unicodedata.decomposition(one).startswith("<") and is_normal(one)]
    plain = sorted(set(plain) - OTHERWISE)
    ours = {one for one in plain if script_of(one) == script.upper()}
    theirs = {one for one in plain if of_script.fullmatch(one)}
    left_to_every_script = {one for one in theirs if unicodedata.name(one).split()[0] in OF_EVERY_SCRIPT}
    assert theirs - left_to_every_script
    assert {f"{one} {unicodedata.name(one)}" for one in theirs - left_to_every_script - ours} == set()
    assert {f"{one} {unicodedata.name(one)}" for one in ours - theirs} == set()


def test_what_is_not_seen_is_what_unicode_lets_a_reader_ignore():
    """Default_Ignorable_Code_Point, each one, is among what a name refuses."""
    ignorable = regex.compile(r"\p{Default_Ignorable_Code_Point}")
    bidi = regex.compile(r"\p{Bidi_Control}")
    ours = {chr(p) for p in range(sys.maxunicode + 1) if any(r.match(chr(p)) for r in (HIDDEN, JOINER, VARIATION))}
    theirs = {chr(p) for p in range(sys.maxunicode + 1) if ignorable.match(chr(p)) and not bidi.match(chr(p))}
    assert {f"{ord(one):x}" for one in theirs - ours} == set()


@pytest.mark.parametrize(
    ("word", "mixed"),
    [
        # Unicode Technical Standard 39, section 5.1 and table 1: "Circle", written with letters of three alphabets.
        pytest.param("Circle", False, id="Latin"),
        pytest.param("\u0421\u0456\u0433\u0441\u04c0\u0435", False, id="Cyrillic throughout"),
        pytest.param("\u0421irc\u04c0e", True, id="Latin and Cyrillic"),
        pytest.param("Circ1e", False, id="a digit belongs to every script"),
        pytest.param("p\u0430yp\u0430l", True, id="Cyrillic a"),
        pytest.param("Nik\u03bfs", True, id="Greek omicron"),
        pytest.param("\u5c71\u7530\u30bf\u30ed\u3046A", False, id="Japanese with Latin"),
        pytest.param("\uae40\u91d1A", False, id="Korean with Latin"),
        pytest.param("\u3042\uae40", True, id="Japanese with Korean"),
        pytest.param("Anna-\u041c\u0430\u0440\u0438\u044f", False, id="a word of each"),
        pytest.param("Ho\u02bbok\u0101ne", False, id="a letter of every script"),
    ],
)
def test_a_word_is_of_one_script(word, mixed):
    """Highly restrictive, applied word by word, since one person may be written in two scripts side by side."""
    assert mixes_scripts(word) is mixed
