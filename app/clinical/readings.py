"""What one published row says of one score: the Reading, and the words kinds share."""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Final, Literal, NamedTuple

from app.clinical.base_rate import BaseRate
from app.clinical.fit import Match
from app.clinical.measure import Effect, Measure, Row
from app.clinical.quantities import alike, convert, rounded, words
from app.clinical.scoring import Score

Kind = Literal["norm", "cutoff", "change", "chance", "validity"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One source's word on a score.

    `says` is the whole sentence for the person reading. `value` is the score as it was
    compared, in `unit`. `percentile` is the place among the healthy reference: of 100
    such people, how many would do worse. `crossed`: on the worse side of `threshold`.
    """

    kind: Kind
    says: str
    row: Row | None
    match: Match
    detail: str = ""
    value: Decimal | None = None
    unit: str = ""
    crossed: bool | None = None
    threshold: Decimal | None = None
    direction: str | None = None
    outcome_type: str | None = None
    z: Decimal | None = None
    percentile: int | None = None
    verdict: str | None = None
    sensitivity: Decimal | None = None
    specificity: Decimal | None = None
    design: str | None = None
    effect: Effect | None = None
    pre: Decimal | None = None
    post: Decimal | None = None
    base: BaseRate | None = None  # the published chance before the test
    near_edge: bool = False
    edges: tuple[Decimal, ...] = ()  # all limits of the ladder this is a rung of

    @property
    def matched(self) -> bool:
        return not self.match.differs

    @property
    def no_verdict(self) -> bool:
        """Kept in sight, but its source or its note forbids judging by it."""
        return bool(getattr(self.row, "no_verdict", False))

    @property
    def confirmed(self) -> bool:
        """Whether the number was read somewhere, not recalled."""
        return self.row is None or self.row.how != "memory"


@dataclass(frozen=True, slots=True)
class Compared:
    """The quantity a row speaks of, as the score holds it."""

    value: Fraction
    unit: str


def quantity_of(row: Row, score: Score) -> Compared | None:
    """The value a row is to be judged on; None when the score does not hold it."""
    if row.fit.when_missing in score.parts:
        return None  # the quantity itself was measured: another row speaks of it
    if row.fit.quantity != "score":
        part = score.parts.get(row.fit.quantity)
        return Compared(part.value, part.unit) if part else None
    if row.fit.variant is not None and row.fit.variant in score.beside:
        return Compared(score.beside[row.fit.variant], score.unit)
    return Compared(score.value, score.unit) if score.value is not None else None


class Said(NamedTuple):
    """A value as it is compared, and its words with the unit."""

    value: Decimal
    words: str


def in_unit(held: Compared, unit: str, places: int) -> Said | None:
    """The value in the row's unit at the rule's precision; None if units differ."""
    return _in_unit(*held.value.as_integer_ratio(), held.unit, unit, places)


@lru_cache(maxsize=256)
def _in_unit(over: int, under: int, unit: str, to: str, places: int) -> Said | None:
    """Rows of one test ask it in the same unit and with the same decimals."""
    if not alike(unit, to):
        return None
    value = rounded(convert(Fraction(over, under), unit, to), places)
    return Said(value, words(value, to))


#: Lower and higher values in words: of a time that is better short, then of the others.
_LOWER_HIGHER: Final = {
    "time": ("shorter", "longer"), "distance": ("shorter", "farther"),
    "count": ("fewer", "more"), "speed": ("slower", "faster"),
    "stages": ("fewer", "more"), "pressure": ("smaller", "larger"),
    "composite": ("lower", "higher"),
}  # fmt: skip


def _lower_higher(measure: Measure) -> tuple[str, str]:
    if measure.kind == "time" and measure.better == "lower":
        return "faster", "slower"
    return _LOWER_HIGHER[measure.kind]


def worse_word(measure: Measure) -> str:
    return _lower_higher(measure)[measure.better == "lower"]


def better_word(measure: Measure) -> str:
    return _lower_higher(measure)[measure.better == "higher"]


def quantity_note(row: Row, measure: Measure, score: Score) -> str:
    """What the row was judged on, when that is not the score itself."""
    if row.fit.quantity != "score":
        return f" Judged on the {score.parts[row.fit.quantity].label}."
    if row.fit.variant in score.beside:
        return f" Judged on the {measure.variant(row.fit.variant).label}."
    return ""
