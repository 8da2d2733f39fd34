"""What the result of a test is told in: seconds, a count, or inches.

Every amount here is in whole thousandths of the unit (a time in ms), so that one way of
working out agreement serves all three. As shown and as judged: two decimals, half up.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Final

from app.clinical.quantities import rounded

#: Thousandths in one of each unit.
FINE: Final = 1000


@dataclass(frozen=True, slots=True)
class Scale:
    """A unit, and the words that go with differences of it.

    `result` is what somebody says of a trial, `done` how they came by it; `after` is
    what follows a number and `units` what follows a sentence.
    """

    unit: str
    after: str
    units: str
    result: str
    done: str
    more: str
    less: str

    def amount(self, thousandths: float) -> str:
        """A size with its unit: `0.15 s`, `0.25`, `0.50 in`."""
        return f"{two_places(abs(thousandths))}{self.after}"

    def signed(self, thousandths: float) -> str:
        """A difference with its sign and unit."""
        return f"{signed(thousandths)}{self.after}"

    def one(self, thousandths: int, *, apart: bool = False) -> str:
        """Of one trial alone: a count is whole. `apart`: a difference, with its sign.

        >>> SCALES["count"].one(11_000), SCALES["count"].one(-1_000, apart=True)
        ('11', '\u22121')
        """
        said = self.signed(thousandths) if apart else self.amount(thousandths)
        return said.removesuffix(".00") if self.unit == "count" else said


SCALES: Final[Mapping[str, Scale]] = {
    "s": Scale("s", " s", ", in seconds", "time", "timed", "longer", "shorter"),
    "count": Scale("count", "", "", "count", "counted", "more", "less"),
    "in": Scale(
        "in", " in", ", in inches", "distance", "read off", "longer", "shorter"
    ),
}


def two_places(thousandths: float) -> Decimal:
    """As shown and as judged."""
    return rounded(Fraction(round(thousandths, 6)) / FINE, 2)


def signed(thousandths: float) -> str:
    """A difference with its sign, without its unit.

    >>> signed(150.0), signed(-20.0), signed(0.0)
    ('+0.15', '\u22120.02', '0.00')
    """
    value = two_places(thousandths)
    if value == 0:
        return "0.00"
    return f"+{value}" if value > 0 else f"\u2212{-value}"
