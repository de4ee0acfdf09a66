"""Exact numbers: how decimals are read, rounded and written."""

import re
from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction

PLACES = 12
_STEP = Decimal(1).scaleb(-PLACES)
_DECIMAL = re.compile(r"-?[0-9]{1,15}(\.[0-9]{1,12})?", re.ASCII)
_FRACTION = re.compile(r"([0-9]{1,9})/([0-9]{1,9})", re.ASCII)


def read_decimal(text: object) -> Decimal | None:
    """A plain decimal from a string or an integer, or None when it is not one (floats, NaN, exponents)."""
    if isinstance(text, bool):
        return None
    if isinstance(text, int):
        return Decimal(text) if abs(text) < 10**15 else None
    if isinstance(text, str) and _DECIMAL.fullmatch(text):
        return Decimal(text)
    return None


def read_ratio(text: object) -> Fraction | None:
    """A number written as a decimal or as a fraction like 5/7, or None when it is neither."""
    if isinstance(text, str) and (match := _FRACTION.fullmatch(text)):
        below = int(match[2])
        return Fraction(int(match[1]), below) if below else None
    number = read_decimal(text)
    return None if number is None else Fraction(number)


def rounded(number: Fraction | Decimal | float) -> Decimal:
    """The number at twelve places, half to even, without trailing zeros."""
    if isinstance(number, Fraction):
        scaled = round(number * 10**PLACES)
        number = Decimal(scaled).scaleb(-PLACES)
    elif isinstance(number, float):
        number = Decimal(repr(number))
    return plain(number.quantize(_STEP, rounding=ROUND_HALF_EVEN))


def plain(number: Decimal) -> Decimal:
    """The same number without trailing zeros, exponent or negative zero."""
    if number == 0:
        return Decimal(0)
    number = number.normalize()
    return number.quantize(Decimal(1)) if number.as_tuple().exponent > 0 else number  # type: ignore[operator]


def written(number: Decimal) -> str:
    """A decimal as the string that signed content holds."""
    return format(plain(number), "f")
