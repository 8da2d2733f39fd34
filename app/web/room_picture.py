"""A room from the side, heights to scale: the floor, what was measured, the knee.

Every thing is a panel of its own, all of one height and scale, so that they stand on
one floor, as many as fit. Nothing is worked out in the template. Widths are no part of
the scale; a ramp is to scale both ways.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Final

from app.clinical.dimensions import Length, Reference, Thing, plain
from app.clinical.quantities import convert, rounded
from app.clinical.ramps import LANDING, Ramp

#: Height of the drawn part, and the room above it for two lines of words, em.
TALL: Final = Fraction(9)
HEAD: Final = Fraction(3)
#: The least that is drawn, so that a threshold alone does not fill the picture.
LEAST_IN: Final = 24
DRAWN: Final = ("seat", "top", "bar", "edge")


@dataclass(frozen=True, slots=True)
class Stretch:
    """From `y` down by `height`, em."""

    y: str
    height: str


@dataclass(frozen=True, slots=True)
class Panel:
    """One thing on the floor. `was`: its height before it was changed, if it was."""

    name: str
    kind: str
    top: str
    box: Stretch
    was: Stretch | None
    shade: Stretch | None
    words: str
    other: str


@dataclass(frozen=True, slots=True)
class Mark:
    """A tick of the tape that stands beside."""

    y: str
    long: bool
    numeral: str


@dataclass(frozen=True, slots=True)
class Knee:
    """The person's knee fold."""

    y: str
    words: str
    other: str


@dataclass(frozen=True, slots=True)
class Elevation:
    """The whole picture and the sentence that says the same."""

    height: str
    floor: str
    panels: tuple[Panel, ...]
    strip: Stretch
    marks: tuple[Mark, ...]
    knee: Knee | None
    unit: str
    says: str


@dataclass(frozen=True, slots=True)
class Drawn:
    """What is drawn of a thing: the newest length, and the one before the change."""

    thing: Thing
    length: Length
    was: Length | None = None


def elevation(drawn: Sequence[Drawn], knee: Length | None) -> Elevation | None:
    """None when nothing that stands on the floor was measured."""
    shown = [d for d in drawn if d.thing.kind in DRAWN]
    if not shown:
        return None
    scale = _Scale(shown, knee)
    unit = shown[0].length.unit
    return Elevation(
        height=_em(HEAD + TALL + Fraction(1, 4)),
        floor=_em(HEAD + TALL),
        panels=tuple(_panel(d, scale) for d in shown),
        strip=scale.down(scale.most),
        marks=tuple(scale.marks(unit)),
        knee=_knee(knee, scale) if knee else None,
        unit=unit,
        says=_says(shown, knee),
    )


def _em(value: Fraction) -> str:
    return plain(rounded(value, 3))


class _Scale:
    """Inches above the floor -> em from the top of the picture."""

    def __init__(self, shown: Sequence[Drawn], knee: Length | None) -> None:
        tops = [Fraction(LEAST_IN), *(d.length.inches for d in shown)]
        tops += [d.was.inches for d in shown if d.was]
        tops += [Fraction(r.at_most) for r in map(_first, shown) if r and r.at_most]
        tops += [knee.inches] if knee else []
        self.most = max(tops)
        self.em = TALL / self.most

    def y(self, inches: Fraction) -> Fraction:
        return HEAD + (self.most - inches) * self.em

    def down(self, inches: Fraction) -> Stretch:
        """From a height to the floor."""
        return Stretch(_em(self.y(inches)), _em(inches * self.em))

    def between(self, low: Fraction, high: Fraction) -> Stretch:
        return Stretch(_em(self.y(high)), _em((high - low) * self.em))

    def marks(self, unit: str) -> list[Mark]:
        """A tick each inch with a numeral each half foot, or each 5 cm and 20 cm."""
        step, every = (1, 6) if unit == "in" else (5, 20)
        whole = int(convert(self.most, "in", unit))
        found = []
        for at in range(0, whole + 1, step):
            y = self.y(convert(Fraction(at), unit, "in"))
            long = at % every == 0
            found.append(Mark(_em(y), long, str(at) if long and at else ""))
        return found


def _first(drawn: Drawn) -> Reference | None:
    """The reference that always holds."""
    plain_ones = (r for r in drawn.thing.references if not r.when and not r.then)
    return next(plain_ones, None)


def _panel(drawn: Drawn, scale: _Scale) -> Panel:
    reference, length = _first(drawn), drawn.length
    shade = None
    if reference is not None:
        low = Fraction(reference.at_least or 0)
        high = Fraction(reference.at_most) if reference.at_most else scale.most
        shade = scale.between(low, high)
    return Panel(
        name=drawn.thing.name,
        kind=drawn.thing.kind,
        top=_em(scale.y(length.inches)),
        box=scale.down(length.inches),
        was=scale.down(drawn.was.inches) if drawn.was else None,
        shade=shade,
        words=f"{plain(length.value)} {length.unit}",
        other=f"({length.other})",
    )


def _knee(knee: Length, scale: _Scale) -> Knee:
    words = f"{plain(knee.value)} {knee.unit}"
    return Knee(_em(scale.y(knee.inches)), words, f"({knee.other})")


def _says(shown: Sequence[Drawn], knee: Length | None) -> str:
    """`Heights from the floor, to scale: Toilet seat 16 in (40.6 cm), ...`."""
    told = []
    for d in shown:
        said = f"{d.thing.name} {d.length.words}"
        if d.was:
            said += f", before {d.was.words}"
        first = _first(d)
        if first is not None:
            said += f", reference {first.words}"
        told.append(said)
    legs = f" Knee fold {knee.words}." if knee else ""
    return f"Heights from the floor, to scale: {'; '.join(told)}.{legs}"


@dataclass(frozen=True, slots=True)
class RampPicture:
    """A ramp from the side, inches: y goes down, 0 is the upper level."""

    box: str
    path: str
    says: str


def ramp_picture(ramp: Ramp, says: str) -> RampPicture:
    """Level ground, the runs with landings between, level ground, to scale."""
    x, y = Fraction(0), ramp.rise
    points = [(x, y), (x := x + LANDING, y)]
    for number in range(ramp.runs):
        if number:
            points.append((x := x + LANDING, y))
        x, y = x + ramp.run / ramp.runs, y - ramp.rise / ramp.runs
        points.append((x, y))
    points.append((x := x + LANDING, y))
    line = " ".join(f"{_in(a)} {_in(b)}" for a, b in points)
    path = f"M{line} {_in(x)} {_in(ramp.rise)}Z"
    box = f"-2 -4 {_in(x + 4)} {_in(ramp.rise + 8)}"
    return RampPicture(box, path, says)


def _in(value: Fraction) -> str:
    return plain(Decimal(rounded(value, 3)))
