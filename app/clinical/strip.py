"""How the 10 ft strip lies for an activity, and how much of it that takes.

Sizes are inches, as the strip is marked. A size the grade sets follows the grade. The
length used is exact; it is rounded, half up to the whole inch, only where it is said.
`outline` gives the same lay as paths in inches, from which the drawings are made.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import ROUND_DOWN, ROUND_HALF_UP, Decimal
from itertools import pairwise
from math import cos, dist, pi, sin
from types import MappingProxyType
from typing import Final, Literal, NamedTuple

from app.clinical.quantities import plain

#: The strip is 10 ft long.
STRIP_IN: Final = Decimal(120)
#: How far the ends of a hand-held loop overlap: a hand's breadth. Common practice.
OVERLAP_IN: Final = Decimal(4)
#: Enough digits that a whole strip is right to far less than its finest mark.
_PI: Final = Decimal("3.14159265358979323846")
#: Straight pieces that stand for a round; they are shorter by less than 0.02 in.
_PIECES: Final = 120
#: A loop hangs from the hand: so much narrower than high.
_HANGS: Final = 0.7
Shape = Literal[
    "line", "lane", "square", "ring", "loop", "vertical", "steps", "held", "none"
]
#: Of each shape, the sizes it must have.
SIZES: Final = {
    "line": ("length",),
    "lane": ("length", "gap"),
    "square": ("side",),
    "ring": ("radius",),
    "loop": ("round",),
    "vertical": ("length",),
    "steps": ("length",),
    "held": ("length",),
    "none": (),
}
WHERE: Final = ("floor", "table", "wall", "hand", "seat")
ZEROS: Final = ("", "floor", "shoulder", "knee", "toes", "chest", "middle", "edge")
WHERE_WORDS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "floor": "on the floor",
        "table": "on the table",
        "wall": "on the wall",
        "hand": "in the hand",
        "seat": "at the seat",
    }
)
ZERO_WORDS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "floor": "0 at the floor",
        "shoulder": "0 at the shoulder",
        "knee": "0 at the knee",
        "toes": "0 at the toes",
        "chest": "0 at the chest",
        "middle": "0 in the middle",
        "edge": "0 at the edge",
    }
)


class Point(NamedTuple):
    """Inches to the right and upward (away, in a view from above)."""

    x: float
    y: float


Outline = tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Layout:
    """One lay of the strip. `graded` names the size that the activity's grade sets.

    `zero` says where the strip's zero lies; `marks` are inches from there.
    """

    shape: Shape
    where: str = "floor"
    length: Decimal | None = None
    gap: Decimal | None = None
    side: Decimal | None = None
    radius: Decimal | None = None
    round: Decimal | None = None
    zero: str = ""
    marks: tuple[Decimal, ...] = ()
    graded: str = ""
    note: str = ""

    def at(self, grade: Decimal) -> "Layout":
        """The same lay at that grade."""
        if not self.graded:
            return self
        return replace(self, **{self.graded: grade})  # type: ignore[arg-type]

    def size(self, name: str) -> Decimal:
        """A size of this shape, inches; 0 when it has none of that name."""
        found: Decimal | None = getattr(self, name)
        return Decimal(0) if found is None else found


def used(layout: Layout) -> Decimal:
    """Inches of strip that the lay takes, exactly; 0 when none is laid.

    Lane: both lines and the piece across at the fold. Loop: once round and the overlap
    in the fingers.

    >>> used(Layout("lane", length=Decimal(54), gap=Decimal(12)))
    Decimal('120')
    """
    size = layout.size
    if layout.shape == "lane":
        return 2 * size("length") + size("gap")
    if layout.shape == "square":
        return 4 * size("side")
    if layout.shape == "ring":
        return 2 * _PI * size("radius")
    if layout.shape == "loop":
        return size("round") + OVERLAP_IN
    return size("length")


def fits(layout: Layout) -> bool:
    """Whether one strip is long enough, and no size lies below zero."""
    sizes = [layout.size(name) for name in SIZES[layout.shape]]
    return min(sizes, default=Decimal(0)) >= 0 and used(layout) <= STRIP_IN


def largest(layout: Layout, name: str) -> Decimal:
    """The largest value of that size that still fits, down to a tenth of an inch.

    >>> largest(Layout("ring", radius=Decimal(20)), "radius")
    Decimal('19.0')
    """
    none, one = (replace(layout, **{name: Decimal(n)}) for n in (0, 1))  # type: ignore[arg-type]
    a_unit = used(one) - used(none)
    most = (STRIP_IN - used(none)) / a_unit
    return max(Decimal(0), most).quantize(Decimal("0.1"), ROUND_DOWN)


def outline(layout: Layout) -> Outline:
    """The strip from its zero end on, as one path in inches; empty when none is laid.

    The path is as long as `used` says. From above: the person faces upward. A vertical
    strip rises from its zero or `hangs` from it; a loop hangs from the hand there.
    """
    if used(layout) == 0:
        return ()
    length, gap, side = (float(layout.size(n)) for n in ("length", "gap", "side"))
    corners: tuple[tuple[float, float], ...]
    match layout.shape:
        case "lane":
            corners = ((0, 0), (length, 0), (length, gap), (0, gap))
        case "square":
            corners = ((0, 0), (0, side), (side, side), (side, 0), (0, 0))
        case "vertical":
            corners = ((0, 0), (0, -length if hangs(layout) else length))
        case "ring":
            return _round(float(layout.size("radius")))
        case "loop":
            return _loop(float(layout.size("round")))
        case _:
            corners = ((0, 0), (length, 0))
    return tuple(Point(x, y) for x, y in corners)


def hangs(layout: Layout) -> bool:
    """An upright strip in the hand with its zero at shoulder or chest goes down."""
    from_above = layout.where == "hand" and layout.zero in ("shoulder", "chest")
    return layout.shape == "vertical" and from_above


def _round(radius: float, narrow: float = 1.0) -> Outline:
    """Clockwise from 12 o'clock, round the origin."""
    turns = (2 * pi * piece / _PIECES for piece in range(_PIECES + 1))
    return tuple(Point(narrow * radius * sin(t), radius * cos(t)) for t in turns)


def _loop(around: float) -> Outline:
    """An oval of that length, hung from its top, and on for the overlap."""
    oval = _round(1.0, _HANGS)
    scale = around / measured(oval)
    closed = tuple(Point(p.x * scale, (p.y - 1) * scale) for p in oval)
    return (*closed, *along(closed, float(OVERLAP_IN))[1:])


def measured(path: Outline) -> float:
    """How long a path is, inches."""
    return sum(dist(a, b) for a, b in pairwise(path))


def along(path: Outline, inches: float) -> Outline:
    """The first so many inches of a path; all of it when it is shorter."""
    taken, left = [path[0]], inches
    for a, b in pairwise(path):
        piece = dist(a, b)
        if piece >= left:
            share = left / piece if piece else 0.0
            return (*taken, Point(a.x + share * (b.x - a.x), a.y + share * (b.y - a.y)))
        taken.append(b)
        left -= piece
    return tuple(taken)


def marks_on(layout: Layout) -> tuple[tuple[Decimal, Point], ...]:
    """Each mark that lies on the strip, and where; from a middle zero, both ways.

    Marks beyond the strip's end (a grade may make it short) are left out.
    """
    path = outline(layout)
    both = _both_ways(layout)
    shift = used(layout) / 2 if layout.zero == "middle" else Decimal(0)
    every = [-m for m in reversed(layout.marks) if both and m] + [*layout.marks]
    on = [(m, shift + m) for m in every if path and 0 <= shift + m <= used(layout)]
    return tuple((m, along(path, float(at))[-1]) for m, at in on)


def _both_ways(layout: Layout) -> bool:
    return layout.zero == "middle" and min(layout.marks, default=Decimal(0)) >= 0


def whole(inches: Decimal) -> str:
    """A length of strip as said: the whole inch, half up."""
    return str(inches.quantize(Decimal(1), ROUND_HALF_UP))


def says(layout: Layout) -> str:
    """One line for the phone: the shape, its sizes, and what it takes of the strip.

    >>> says(Layout("ring", radius=Decimal(12)))
    'Ring, 12 in radius: 75 in of the strip; the person stands in the middle.'
    """
    parts = [_shape_words(layout), ZERO_WORDS.get(layout.zero, ""), _marks(layout)]
    said = "; ".join(part for part in parts if part)
    return f"{said}. {layout.note}".strip() if layout.note else f"{said}."


def _shape_words(layout: Layout) -> str:
    takes = f"{whole(used(layout))} in of the strip"
    sized = {name: f"{plain(layout.size(name))} in" for name in SIZES[layout.shape]}
    where = WHERE_WORDS[layout.where]
    words = {
        "line": "Straight line {where}, {length}",
        "lane": "Lane {where}, {length} long and {gap} wide: {takes}, folded once",
        "square": "Square {where}, {side} a side: {takes}",
        "ring": "Ring, {radius} radius: {takes}; the person stands in the middle",
        "loop": "Loop, {round} round: {takes}, ends overlapped in the fingers, no knot",
        "vertical": "Upright {where}, {length}",
        "steps": "Step marks {where} along {length}",
        "held": "Held in the hands, {length}; not on the floor",
        "none": "The strip is not laid out",
    }
    if hangs(layout):
        return "Hanging from the hand, {length}".format(**sized)
    return words[layout.shape].format(takes=takes, where=where, **sized)


def _marks(layout: Layout) -> str:
    if not layout.marks:
        return ""
    listed = [plain(mark) for mark in layout.marks]
    *first, last = listed
    said = f"{', '.join(first)} and {last}" if first else last
    ways = " each way" if _both_ways(layout) else ""
    return f"{'marks' if first else 'mark'} at {said} in{ways}"
