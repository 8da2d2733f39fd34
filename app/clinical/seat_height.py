"""How high a seat this person may want: a starting point from the lower leg.

From the floor to the knee fold, times 1.2. That rule is recalled, not read, so it is a
place to begin trying and never a limit. It still outranks any reference for the public.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import Final

from app.clinical.dimensions import Length, amount_words, plain
from app.clinical.quantities import convert, rounded
from app.clinical.vocabulary import How

SHOES: Final = MappingProxyType({"on": "in shoes", "off": "barefoot"})
#: Recalled, not read.
RATIO: Final = Fraction(12, 10)
SHOE_CM: Final = (2, 3)
#: A seat 1 to 2 in above the knee fold: the target of the activity that matches seats.
#: Common practice.
ABOVE_KNEE_IN: Final = (1, 2)
RANKS: Final = (1, 5, 10, 25, 50, 75, 90, 95, 99)


@dataclass(frozen=True, slots=True)
class Leg:
    """The lower leg as it was measured."""

    length: Length
    shoes: str

    @property
    def spans(self) -> tuple[Fraction, Fraction]:
        """Floor to knee fold in shoes, cm: one number, or two if measured barefoot."""
        cm = convert(Fraction(self.length.value), self.length.unit, "cm")
        low, high = SHOE_CM if self.shoes == "off" else (0, 0)
        return cm + low, cm + high

    @property
    def start(self) -> tuple[Fraction, Fraction]:
        """Where to begin trying, cm."""
        low, high = self.spans
        return low * RATIO, high * RATIO


@dataclass(frozen=True, slots=True)
class Finding:
    """What was found about seats and standing up, with its source."""

    says: str
    source: str
    how: How
    note: str = ""


@dataclass(frozen=True, slots=True)
class LegSample:
    """Knee-fold heights of one sex in a sample, cm, barefoot: ranks by percent."""

    sex: str
    n: int
    mean: Decimal
    sd: Decimal
    ranks: MappingProxyType[int, Decimal]
    population: str
    source: str
    how: How
    slope: Decimal
    intercept: Decimal
    r2: Decimal
    residual_sd: Decimal


def start_words(leg: Leg) -> str:
    """`48 cm (18.9 in)`, or a span when the shoes had to be guessed."""
    low, high = leg.start
    unit = leg.length.unit
    if low == high:
        return _both(low, unit)
    return f"{_both(low, unit)} to {_both(high, unit)}"


def _both(cm: Fraction, unit: str) -> str:
    other = "cm" if unit == "in" else "in"
    return f"{_in(cm, unit)} ({_in(cm, other)})"


def _in(cm: Fraction, unit: str) -> str:
    return f"{plain(rounded(convert(cm, 'cm', unit), 1))} {unit}"


def own_words(seat: Length, leg: Leg) -> tuple[str, str]:
    """A seat against this person: from the starting point, and from the knee fold."""
    cm = convert(Fraction(seat.value), seat.unit, "cm")
    low, high = leg.start
    where = _beside(cm, low, high, seat.unit)
    knee_low, knee_high = leg.spans
    knee = _beside(cm, knee_low, knee_high, seat.unit)
    return (
        f"{where} this person's starting point, {start_words(leg)}",
        f"{knee} their knee fold{_shod(leg)}",
    )


def _shod(leg: Leg) -> str:
    return " with 2 to 3 cm for shoes" if leg.shoes == "off" else ""


def _beside(cm: Fraction, low: Fraction, high: Fraction, unit: str) -> str:
    if cm < low:
        return f"{amount_words(convert(low - cm, 'cm', 'in'), unit)} below"
    if cm > high:
        return f"{amount_words(convert(cm - high, 'cm', 'in'), unit)} above"
    return "at" if low == high else "within"


def likely(
    leg: Leg, sex: str, stature_cm: Fraction | None, samples: Iterable[LegSample]
) -> tuple[str, ...]:
    """Whether the leg was measured well: its place in a sample, and from the stature.

    A check of the tape and nothing else: the sample is of fit people of working age.
    """
    cm, _ = Leg(leg.length, "on").spans
    told = []
    for sample in samples:
        if sample.sex != sex:
            continue
        told.append(_place(cm, sample))
        if stature_cm is not None:
            expected = Fraction(sample.slope) * stature_cm + Fraction(sample.intercept)
            told.append(
                f"From this person's height one would expect about "
                f"{_in(expected, 'cm')} barefoot, give or take "
                f"{plain(sample.residual_sd)} cm (one SD)."
            )
    return tuple(told)


def _place(cm: Fraction, sample: LegSample) -> str:
    below = [rank for rank in RANKS if Fraction(sample.ranks[rank]) <= cm]
    above = [rank for rank in RANKS if Fraction(sample.ranks[rank]) > cm]
    among = f"among {sample.n} {sample.population}"
    if not below:
        return f"Lower than 99 of 100 {among}: measure again."
    if not above:
        return f"Higher than 99 of 100 {among}: measure again."
    return f"Between percentile {below[-1]} and {above[0]} {among}."
