"""What a tape is given (bands, notches, pins) and what it hands to the template.

Plain values. Across, every position is percent of the strip, so the picture fits any
screen; down, it is em, so the picture grows with the reader's text.
"""

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal, NamedTuple

Anchor = Literal["start", "middle", "end"]
Better = Literal["lower", "higher"]
Shape = Literal[
    "cutoff", "crossed", "average", "spread", "pin", "other", "error",
    "latest", "unable", "stopped", "slope", "goal",
]  # fmt: skip

#: Strip widths in em that words must fit: on a phone; on a phone with its text at
#: 200 %, where only the flag must; and between them, for the dates.
PHONE_EM, NARROW_EM, DATES_EM = 20.0, 10.0, 14.0
#: An average letter's width in em, on the wide side: too much room beats overlap.
LETTER_EM = 0.56
#: Heights in em.
ROW_EM, FLAG_EM, STRIP_EM = 1.35, 1.7, 2.7


@dataclass(frozen=True, slots=True)
class Band:
    """The spread of a healthy reference sample: mean and standard deviation only."""

    low: Decimal
    high: Decimal
    words: str


@dataclass(frozen=True, slots=True)
class Notch:
    """A published cut-off or average, or somebody's goal.

    `crossed`: the score is on its worse side.
    """

    value: Decimal
    words: str
    kind: Literal["cutoff", "average", "goal"]
    crossed: bool = False


@dataclass(frozen=True, slots=True)
class Pin:
    """An earlier score, oldest first. `words` is its date."""

    value: Decimal
    words: str
    comparable: bool = True


class Tick(NamedTuple):
    x: float
    long: bool = False
    numeral: str = ""
    spare: bool = False  # left out first, when the text is large


class Mark(NamedTuple):
    x: float
    shape: Shape
    y: float


class Label(NamedTuple):
    """Words at a notch: `x` and `anchor` of the text, below the foot of the strip.

    A line runs from the notch down to `line_y`; `more` notches nearby have no label.
    """

    x: float
    y: float
    anchor: Anchor
    value: str
    words: str
    shape: Shape
    notch_x: float
    line_y: float | None
    more: int = 0


class Text(NamedTuple):
    x: float
    anchor: Anchor
    words: str


class Flag(NamedTuple):
    """Today's score: a pole at `x`, its cloth `width` em wide starting at `left` em."""

    x: float
    left: float
    width: float
    text_left: float
    words: str


class Stretch(NamedTuple):
    x: float
    width: float


class Bracket(NamedTuple):
    """The error interval; an end beyond the scale gets no cap."""

    low: float
    high: float
    low_cap: bool
    high_cap: bool


class KeyLine(NamedTuple):
    shape: Shape
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TapeView:
    """Everything the template draws; `key` names every mark again in words."""

    label: str
    height: float
    top: float
    foot: float
    ticks: tuple[Tick, ...]
    tears: tuple[float, ...]
    spread: Stretch | None
    marks: tuple[Mark, ...]
    labels: tuple[Label, ...]
    pins: tuple[Mark, ...]
    dates: tuple[Text, ...]
    dates_y: float
    bracket: Bracket | None
    flag: Flag | None
    ends: tuple[str, str]
    ends_y: float
    key: tuple[KeyLine, ...]
    key_needed: bool


@dataclass(frozen=True, slots=True)
class SmallTape:
    """A wordless tape for lists; the value stands beside it as text."""

    ticks: tuple[float, ...]
    spread: Stretch | None
    cutoff: float | None
    pins: tuple[float, ...]
    today: float | None
    tears: tuple[float, ...]
