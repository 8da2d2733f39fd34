"""Numbers with units: reading what was typed, exact conversion, the one rounding rule.

Values are kept as entered. Rounding happens once, half up, where a value is shown or
compared; a value shown beside a verdict is the value the verdict was made from.
"""

import operator
import re
from collections.abc import Callable, Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Final

#: Decimals a value is shown with.
SHOWN_PLACES: Final = {
    "s": 1, "in": 1, "cm": 1, "count": 0, "%": 1, "m/s": 2, "ft/s": 2, "stages": 0,
    "points": 0, "mmHg": 0, "bpm": 0, "bpm/mmHg": 2, "W/kg": 2, "W": 0,
}  # fmt: skip
UNIT_WORDS: Final = {unit: unit for unit in SHOWN_PLACES} | {"count": ""}
#: Units of a score of which 0 is a result, with the word for one of them.
_ONE: Final = {"stages": "stage", "points": "point"}
#: Units that turn into each other exactly, each as a multiple of the first of its kind.
SAME_KIND: Final = (
    {"cm": Fraction(1), "in": Fraction(254, 100), "m": Fraction(100)},
    {"kg": Fraction(1), "lb": Fraction(45_359_237, 100_000_000)},
    {"m/s": Fraction(1), "ft/s": Fraction(3048, 10000)},
)
#: The units a body's sizes are computed in.
BODY_UNITS: Final = {"height": "m", "weight": "kg"}
_UNITS: Final = "|".join(sorted(SHOWN_PLACES, key=len, reverse=True))
_TYPED: Final = re.compile(rf"(\d{{1,6}}(?:\.\d{{1,3}})?) ?({_UNITS})?", re.ASCII)


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
    if SHOWN_PLACES[unit] == 0 and "." in found[1]:
        raise BadNumber(f"{typed!r} is no whole number.")
    if value == 0 and unit != "count" and unit not in _ONE:  # those have their lowest
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
    words = {
        "s": "seconds", "in": "inches (in)", "cm": "centimetres (cm)",
        "count": "whole numbers",
    }  # fmt: skip
    return " or ".join(words.get(u, u) for u in units)


def convert(value: Fraction, unit: str, to: str) -> Fraction:
    """Exact: 1 in = 2.54 cm, 1 ft = 0.3048 m, 1 lb = 0.45359237 kg.

    Raise ValueError for two kinds.
    """
    if unit == to:
        return value
    for sizes in SAME_KIND:
        if unit in sizes and to in sizes:
            return value * sizes[unit] / sizes[to]
    raise ValueError(f"{unit} cannot be turned into {to}")


def alike(unit: str, other: str) -> bool:
    """Whether one turns into the other."""
    return unit == other or any(unit in k and other in k for k in SAME_KIND)


def rounded(value: Fraction | Decimal | float, places: int) -> Decimal:
    """Half up (away from zero when negative), exactly, to `places` decimals."""
    over, under = value.as_integer_ratio()
    whole = (2 * abs(over) * 10**places + under) // (2 * under)
    return Decimal(-whole if over < 0 else whole).scaleb(-places)


def shown(value: Fraction | Decimal, unit: str) -> Decimal:
    """The value as the screen prints it."""
    return rounded(value, SHOWN_PLACES[unit])


def printed_places(threshold: Decimal) -> int:
    """Decimals a threshold is printed with: 12.47 -> 2, 13 -> 0, 13.0 -> 1."""
    exponent = threshold.as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0


def compared_places(threshold: Decimal, unit: str) -> int:
    """Decimals a value is compared with: the finer of the screen's and the print's."""
    return max(SHOWN_PLACES[unit], printed_places(threshold))


def compared(value: Fraction, unit: str, threshold: Decimal, to: str) -> Decimal:
    """The value in the threshold's unit, at the finer of both precisions."""
    return rounded(convert(value, unit, to), compared_places(threshold, to))


_BEYOND: Final[Mapping[str, Callable[[Decimal, Decimal], bool]]] = {
    "above": operator.gt,
    "at_or_above": operator.ge,
    "below": operator.lt,
    "at_or_below": operator.le,
}


def beyond(value: Decimal, direction: str, threshold: Decimal) -> bool:
    """Whether `value` lies on the far side; the edge is the source's own."""
    return _BEYOND[direction](value, threshold)


def words(value: Decimal, unit: str) -> str:
    """`16.2 s`, `9.5 in`, `12`, `-20.8 %`, `1 stage`."""
    if unit in _ONE and value == value.to_integral_value():
        value = value.quantize(Decimal(1))  # nobody scores 7.00 points
    said = _ONE.get(unit, unit) if value == 1 else unit
    return f"{value} {UNIT_WORDS.get(said, said)}".strip()


def plain(value: Decimal) -> str:
    """Digits without an exponent, as few as it needs: `12`, `1.5`, never `1E+1`.

    >>> plain(Decimal("10")), plain(Decimal("1.50"))
    ('10', '1.5')
    """
    return f"{value.normalize():f}"
