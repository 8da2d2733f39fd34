"""What a test made of several holds, walks and stands is built from, as plain values.

A stage is a position held in a fixed order; a component is another test that gives a
part of a composite; a band is a stretch of values worth so many points.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from typing import Final, Literal

from app.clinical.quantities import rounded
from app.clinical.vocabulary import How

#: Holds and bands are judged to a hundredth of a second.
BAND_PLACES: Final = 2
#: Relative power of standing up: share of the body lifted, leg length as a share of
#: height, share of a cycle spent rising (baltasar2021assump, abstract), and gravity.
LIFTED, LEG, RISING = Fraction(9, 10), Fraction(1, 2), Fraction(1, 2)
GRAVITY: Final = Fraction(981, 100)


class Impossible(ValueError):
    """The numbers cannot belong together; the message says which."""


@dataclass(frozen=True, slots=True)
class Stage:
    """One position of a test with a fixed order. `hold`: seconds that open the next."""

    id: str
    label: str
    hold: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """Points for a part. An absent bound is open; a band without bounds is for unable.

    `quantity`: the part or its table, e.g. `tandem` or `walk_3m`.
    """

    quantity: str
    points: int
    low: Decimal | None = None
    high: Decimal | None = None
    low_inside: bool = True
    high_inside: bool = True
    how: How
    source: str
    note: str = ""

    def holds(self, value: Decimal) -> bool:
        """Whether a value, at the bands' own precision, lies inside."""
        if self.low is None and self.high is None:
            return False
        above = self.low is None or (
            value >= self.low if self.low_inside else value > self.low
        )
        below = self.high is None or (
            value <= self.high if self.high_inside else value < self.high
        )
        return above and below


@dataclass(frozen=True, slots=True, kw_only=True)
class Component:
    """A part of a composite that another test gives.

    `take`: the seconds of each stage, the fastest trial's seconds, the seconds of the
    score, or its count.
    `requires`: how that test must have been done. `by` names the fact that chooses
    among tables of bands, `bands` the table for each of its values (or "" for any).
    `carries`: set-up facts of that test which the composite keeps as its own.
    """

    id: str
    label: str
    measure: str
    take: Literal["stages", "fastest", "seconds", "count"]
    requires: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    by: str = ""
    bands: Mapping[str, str] = field(default_factory=dict)
    stages: tuple[str, ...] = ()
    carries: tuple[str, ...] = ()


def most_points(components: Sequence[Component], bands: Sequence[Band]) -> int:
    """The most points that all parts together can give."""
    most: dict[str, int] = {}
    for band in bands:
        most[band.quantity] = max(band.points, most.get(band.quantity, 0))
    return sum(
        sum(most[stage] for stage in c.stages)
        if c.stages
        else max(most[table] for table in c.bands.values())
        for c in components
    )


def points(bands: Sequence[Band], quantity: str, seconds: Fraction | None) -> int:
    """What a part is worth; None seconds: it could not be done. Raise Impossible."""
    table = [band for band in bands if band.quantity == quantity]
    if not table:
        raise Impossible(f"There is no published table of points for {quantity}.")
    if seconds is None:
        return 0
    value = rounded(seconds, BAND_PLACES)
    found = [band for band in table if band.holds(value)]
    if not found:  # a table printed in tenths says nothing of the hundredths between
        found = [band for band in table if band.holds(rounded(seconds, 1))]
    if len(found) != 1:
        raise Impossible(f"{value} s has no place in the table for {quantity}.")
    return found[0].points


def relative_power(height_m: Fraction, seat_m: Fraction, cycle_s: Fraction) -> Fraction:
    """Mean power of rising per kg of body mass, W/kg, both legs.

    0.9 x 9.81 x (0.5 x height - seat) / (0.5 x seconds of one stand and sit). Formula:
    alcazar2018 (recalled), constants: baltasar2021assump (abstract).
    """
    rise = LEG * height_m - seat_m
    if rise <= 0:
        raise Impossible(
            "Half the body height is not above the seat: the formula needs a seat "
            "below the hip. Check height, seat and their units."
        )
    return LIFTED * GRAVITY * rise / (RISING * cycle_s)
