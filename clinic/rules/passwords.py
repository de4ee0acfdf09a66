"""Which passwords may be chosen: long, and not among the first that are guessed.

Source: NIST SP 800-63B-4, section 3.1.1.2 (from memory): at least 15 characters where the password is all that is
asked, spaces and all of Unicode taken and counted as characters, a list of expected ones refused, no rules of
composition, no expiry, no hints.
"""

import unicodedata
from collections.abc import Collection
from enum import StrEnum

SHORTEST = 15
LONGEST = 200
ROWS = ("abcdefghijklmnopqrstuvwxyz", "01234567890", "qwertyuiop", "asdfghjkl", "zxcvbnm", "1234567890")
ALWAYS_EXPECTED = ("password", "passphrase", "letmein", "welcome", "therapy", "record", "secret", "login", "admin")
FEWEST_CHARACTERS = 5


class PasswordFault(StrEnum):
    """Why a password may not be chosen."""

    TOO_SHORT = "too_short"
    TOO_LONG = "too_long"
    REPEATED = "repeated"
    EXPECTED = "expected"


IN_WORDS = {
    PasswordFault.TOO_SHORT: f"A password has at least {SHORTEST} characters: a few words will do",
    PasswordFault.TOO_LONG: f"A password has at most {LONGEST} characters",
    PasswordFault.REPEATED: "A few characters over and over are soon guessed",
    PasswordFault.EXPECTED: "Names, usual words and rows of keys are the first that are guessed",
}


def normalized(password: str) -> str:
    """The same characters, however a keyboard composed them."""
    return unicodedata.normalize("NFKC", password)


def password_fault(password: str, *, known: Collection[str] = ()) -> PasswordFault | None:
    """Why this password may not be chosen, or None; `known` are the words that belong to her and her place of work."""
    if len(password) < SHORTEST:
        return PasswordFault.TOO_SHORT
    if len(password) > LONGEST:
        return PasswordFault.TOO_LONG
    plain = normalized(password).casefold()
    if len(set(plain)) < FEWEST_CHARACTERS or _is_repeated(plain):
        return PasswordFault.REPEATED
    return PasswordFault.EXPECTED if _is_expected(plain, known) else None


def _is_repeated(plain: str) -> bool:
    """True when it is one shorter text over and over: such a text stands in itself doubled, moved on."""
    return plain in (plain + plain)[1:-1]


def _is_expected(plain: str, known: Collection[str]) -> bool:
    """True when nothing of it is left but a few characters once words and rows that anybody tries are taken out."""
    words = {part for one in known for part in (one.casefold(), *one.casefold().split()) if len(part) >= 3}
    left = plain
    for word in sorted({*words, *ALWAYS_EXPECTED}, key=len, reverse=True):
        left = left.replace(word, "")
    for row in (*ROWS, *(row[::-1] for row in ROWS)):
        for size in range(len(row), 2, -1):
            for start in range(len(row) - size + 1):
                left = left.replace(row[start : start + size], "")
    return len([character for character in left if character.isalnum()]) < FEWEST_CHARACTERS
