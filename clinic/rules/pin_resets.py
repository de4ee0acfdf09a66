"""The code by which somebody who lost her PIN sets another: how it reads, how long and how often it is good."""

from datetime import datetime, timedelta

# Crockford's base 32: no letter that is taken for another.
LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
TAKEN_FOR = str.maketrans({"O": "0", "I": "1", "L": "1", "-": None, " ": None})
LENGTH = 8
GOOD_FOR = timedelta(hours=24)
MOST_MISSES = 5
WATCHED_FOR = timedelta(hours=24)


def code_from(digest: bytes) -> str:
    """Forty bits of a digest as eight letters in two groups."""
    number = int.from_bytes(digest[:5], "big")
    letters = [LETTERS[(number >> 5 * place) & 31] for place in reversed(range(LENGTH))]
    return "".join(letters[:4]) + "-" + "".join(letters[4:])


def plain(code: str) -> str:
    """As it is compared: capitals, without its hyphen, with the letters that it was made of."""
    return code.upper().translate(TAKEN_FOR)


def is_good(*, misses: int, ended_at: datetime | None, expires_at: datetime, now: datetime) -> bool:
    return ended_at is None and misses < MOST_MISSES and now < expires_at


def watched_until(used_at: datetime) -> datetime:
    """Until when signatures with the new PIN are told to their owner."""
    return used_at + WATCHED_FOR
