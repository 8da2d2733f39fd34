"""Numbers with units: reading what was typed, exact conversion, the one rounding rule.

Values are kept as entered. Rounding happens once, half up, where a value is shown or
compared; a value shown beside a verdict is the value the verdict was made from.
"""

import re
from decimal import Decimal
from fractions import Fraction
from typing import Final

#: Decimals a value is shown with.
SHOWN_PLACES: Final = {"s": 1, "in": 1, "cm": 1, "count": 0, "%": 1}
UNIT_WORDS: Final = {"s": "s", "in": "in", "cm": "cm", "count": "", "%": "%"}
CM_PER_INCH: Final = Fraction(254, 100)
_TYPED: Final = re.compile(r"(\d{1,6}(?:\.\d{1,3})?) ?(s|in|cm)?", re.ASCII)


class BadNumber(ValueError):
    """What was typed is no usable reading; the message says what to type instead."""


def parse(text: str, units: tuple[str, ...]) -> tuple[Decimal, str]:
    """Read `16.2`, `16.2s`, `9.5 in`, `24cm`; without a unit the first of `units`.

    >>> parse("9.5in", ("in", "cm"))
    (Decimal('9.5'), 'in')
    """
    typed = text.strip()
    found = _TYPED.fullmatch(typed)
    if found is None:
        raise BadNumber(_why_not(typed, units))
    value, unit = Decimal(found[1]), found[2] or units[0]
    if unit not in units:
        raise BadNumber(f"{typed!r} is in {unit}; this test takes {_or(units)}.")
    if unit == "count" and "." in found[1]:
        raise BadNumber(f"{typed!r} is no whole number.")
    if value == 0 and unit != "count":  # a count has its own lowest
        raise BadNumber("0 is no result. If the person could not do it, choose unable.")
    return value, unit


def _why_not(typed: str, units: tuple[str, ...]) -> str:
    if not typed:
        return f"Nothing was entered. Type a number in {_or(units)}."
    if re.fullmatch(r"\d+,\d+.*", typed, re.ASCII):
        return f"{typed!r}: write a point, not a comma: {typed.replace(',', '.')}"
    if typed.startswith("-"):
        return f"{typed!r} is below zero. Type a number in {_or(units)}."
    if re.fullmatch(r"\d+:\d\d(\.\d+)?", typed, re.ASCII):
        return f"{typed!r}: type all of it in seconds, so 1:05 is 65."
    if re.fullmatch(r"\d+\.\d{4,} ?\w*", typed, re.ASCII):
        return f"{typed!r} has too many decimals. Three are the most."
    return f"{typed!r} is not a plain number. Type one like 16.2, in {_or(units)}."


def _or(units: tuple[str, ...]) -> str:
    words = {"s": "seconds", "in": "inches (in)", "cm": "centimetres (cm)"}
    return " or ".join(words.get(u, "whole numbers") for u in units)


def convert(value: Fraction, unit: str, to: str) -> Fraction:
    """Exact: 1 in = 2.54 cm. Raise ValueError for units that do not convert."""
    if unit == to:
        return value
    if (unit, to) == ("in", "cm"):
        return value * CM_PER_INCH
    if (unit, to) == ("cm", "in"):
        return value / CM_PER_INCH
    raise ValueError(f"{unit} cannot be turned into {to}")


def rounded(value: Fraction | Decimal, places: int) -> Decimal:
    """Half up (away from zero when negative), exactly, to `places` decimals."""
    exact = Fraction(value)
    scaled = abs(exact) * 10**places
    whole = (2 * scaled.numerator + scaled.denominator) // (2 * scaled.denominator)
    return Decimal(-whole if exact < 0 else whole).scaleb(-places)


def shown(value: Fraction | Decimal, unit: str) -> Decimal:
    """The value as the screen prints it."""
    return rounded(value, SHOWN_PLACES[unit])


def printed_places(threshold: Decimal) -> int:
    """Decimals a threshold is printed with: 12.47 -> 2, 13 -> 0, 13.0 -> 1."""
    exponent = threshold.as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0


def compared(value: Fraction, unit: str, threshold: Decimal, to: str) -> Decimal:
    """The value in the threshold's unit, at the finer of both precisions."""
    places = max(SHOWN_PLACES[to], printed_places(threshold))
    return rounded(convert(value, unit, to), places)


def beyond(value: Decimal, direction: str, threshold: Decimal) -> bool:
    """Whether `value` lies on the far side; the edge is the source's own."""
    return {
        "above": value > threshold,
        "at_or_above": value >= threshold,
        "below": value < threshold,
        "at_or_below": value <= threshold,
    }[direction]


def words(value: Decimal, unit: str) -> str:
    """`16.2 s`, `9.5 in`, `12`, `-20.8 %`."""
    return f"{value} {UNIT_WORDS[unit]}".strip()
