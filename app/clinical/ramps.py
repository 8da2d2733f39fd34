"""A ramp from its rise, and the slope of one that is there."""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Final

from app.clinical.dimensions import Length, plain
from app.clinical.quantities import convert, rounded

#: 2010 ADA Standards 405.2, 405.6, 405.7, 405.8; the catalogue's rows hold how known.
RUN_PER_RISE: Final = 12
MOST_RISE: Final = 30
LANDING: Final = 60
RAILS_ABOVE: Final = 6
#: An existing site short of space: 1:x is enough up to so much rise (405.2).
SHORT_OF_SPACE: Final = ((8, 3), (10, 6))


@dataclass(frozen=True, slots=True)
class Ramp:
    """A ramp at 1:12, inches. `runs` stretches of slope, a level landing between two.

    `total` is slope and landings between; the level ground at both ends comes to it.
    """

    rise: Fraction
    run: Fraction
    runs: int
    landings: int
    total: Fraction
    rails: bool


@dataclass(frozen=True, slots=True)
class Slope:
    """1:x of a ramp that is there, and the gentlest rule it meets (0: none)."""

    x: Fraction
    shown: Decimal
    meets: int


def ramp_for(rise: Length) -> Ramp:
    """What a rise asks for.

    >>> ramp_for(Length(Decimal(24), "in")).run
    Fraction(288, 1)
    """
    inches = rise.inches
    runs = max(1, -(-inches.numerator // (inches.denominator * MOST_RISE)))
    run, landings = RUN_PER_RISE * inches, runs - 1
    return Ramp(
        inches, run, runs, landings, run + landings * LANDING, inches > RAILS_ABOVE
    )


def slope_of(rise: Length, run: Length) -> Slope:
    """How steep it is; `run` is the level length, not along the slope."""
    x = run.inches / rise.inches
    meets = RUN_PER_RISE if x >= RUN_PER_RISE else 0
    if not meets:
        meets = next(
            (y for y, up_to in reversed(SHORT_OF_SPACE)
             if x >= y and rise.inches <= up_to), 0,
        )  # fmt: skip
    return Slope(x, _shown(x), meets)


def _shown(x: Fraction) -> Decimal:
    """As few decimals as keep it on its side of each rule."""
    edges = (RUN_PER_RISE, *(y for y, _ in SHORT_OF_SPACE))
    for places in (1, 2, 3):
        value = rounded(x, places)
        if all((value >= e) == (x >= e) for e in edges):
            return value
    return rounded(x, 6)


def feet_words(inches: Fraction, unit: str) -> str:
    """`288 in (731.5 cm, 24 ft)`: in the unit that was entered first."""
    other = "cm" if unit == "in" else "in"
    first, second = (
        f"{plain(rounded(convert(inches, 'in', u), 1))} {u}" for u in (unit, other)
    )
    return f"{first} ({second}, {plain(rounded(inches / 12, 1))} ft)"


def ramp_words(ramp: Ramp, unit: str) -> str:
    """The ramp in a sentence: the same as its picture says."""
    runs = (
        "in one run"
        if ramp.runs == 1
        else f"in {ramp.runs} runs with {_landings(ramp.landings, unit)} between"
    )
    rails = "asked for" if ramp.rails else "not asked for"
    whole = (
        f": {feet_words(ramp.total, unit)} with the landings" if ramp.landings else ""
    )
    return (
        f"{feet_words(ramp.run, unit)} of slope at 1:{RUN_PER_RISE}, {runs}{whole}. "
        f"Handrails {rails}."
    )


def _landings(count: int, unit: str) -> str:
    each = feet_words(Fraction(LANDING), unit)
    return f"a landing of {each}" if count == 1 else f"{count} landings of {each}"


def slope_words(slope: Slope) -> str:
    """`1:11, steeper than 1:12; ...`."""
    said = f"1:{plain(slope.shown)}"
    if slope.meets == RUN_PER_RISE:
        return f"{said}, not steeper than 1:{RUN_PER_RISE}."
    steeper = f"{said}, steeper than 1:{RUN_PER_RISE}"
    if slope.meets:
        up_to = dict(SHORT_OF_SPACE)[slope.meets]
        return (
            f"{steeper}; at an existing site short of space 1:{slope.meets} is taken "
            f"up to a rise of {up_to} in."
        )
    return f"{steeper}, and than what existing sites short of space may have."
