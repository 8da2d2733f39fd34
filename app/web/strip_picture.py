"""The drawing of how the strip lies: from above, from the side, or as it is held.

Made from `strip.outline` alone, so that it can show no other lay than the one that is
counted. Positions are units of a view 200 wide; letters are 18 of them.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from decimal import Decimal
from math import dist
from typing import Final, Literal, NamedTuple

from app.clinical import strip
from app.clinical.activity import Activity
from app.clinical.quantities import plain
from app.clinical.strip import Layout, Point

WIDE: Final = 200.0
#: The most that the strip itself takes of the view, across and up.
LONG, ROUND_HIGH, LANE_LONG = 170.0, 92.0, 118.0
#: Half the strip's breadth, a line of letters, and the room between numbers.
HALF, LINE, APART = 5.0, 20.0, 22.0
EVERY_IN: Final = 6.0
#: A lane is never drawn narrower than this, or its two lines would be one.
NARROWEST: Final = 17.0
_SEEN: Final = {
    "vertical": "from the side",
    "loop": "as it is held",
    "held": "as it is held",
}
Kind = Literal["feet", "hand", "wall", "floor", "chair"]


class Words(NamedTuple):
    x: float
    y: float
    anchor: Literal["start", "middle", "end"]
    words: str


class Thing(NamedTuple):
    """A simple shape beside the strip."""

    kind: Kind
    x: float
    y: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StripPicture:
    """Everything the template draws. `title` and `says` tell it without the picture."""

    key: str
    title: str
    says: str
    height: float
    path: str
    ticks: str
    sizes: str
    labels: tuple[Words, ...]
    things: tuple[Thing, ...]


class _Frame(NamedTuple):
    """Inches to units: `scale` of them to an inch, the origin at `x`, `y`.

    `wider` draws a narrow lane wide enough that its two lines can be told apart.
    """

    scale: float
    x: float
    y: float
    wider: float = 1.0

    def at(self, p: Point) -> Point:
        x, y = self.x + p.x * self.scale, self.y - p.y * self.scale * self.wider
        return Point(round(x, 1), round(y, 1))


@dataclass(frozen=True, slots=True)
class _Sketch:
    """One shape's frame and height, its size lines, labels and things."""

    frame: _Frame
    height: float
    sizes: str = ""
    labels: tuple[Words, ...] = ()
    things: tuple[Thing, ...] = ()


def strip_pictures(
    activity: Activity, grade: Decimal, *, noted: bool = True
) -> list[StripPicture]:
    """One drawing for each lay of the strip at that grade; none where none is laid.

    `noted`: with the lay's note, which speaks to the therapist.
    """
    at_grade = [layout.at(grade) for layout in activity.layouts]
    if not noted:
        at_grade = [replace(layout, note="") for layout in at_grade]
    return [
        strip_picture(layout, f"{activity.id.lower()}-{number}")
        for number, layout in enumerate(at_grade)
        if strip.outline(layout)
    ]


def strip_picture(layout: Layout, key: str) -> StripPicture:
    """The drawing of one lay, which must take some of the strip."""
    sketch = _SKETCHES[layout.shape](layout)
    path = [sketch.frame.at(p) for p in strip.outline(layout)]
    lies = layout.where in ("floor", "table", "seat")
    seen = _SEEN.get(layout.shape, "from above" if lies else "from the front")
    return StripPicture(
        key=key,
        title=f"How the strip lies, seen {seen}",
        says=strip.says(layout),
        height=sketch.height,
        path=_d(path),
        ticks=" ".join(_ticks(layout, sketch.frame)),
        sizes=sketch.sizes,
        labels=(*sketch.labels, *_numbers(layout, sketch.frame)),
        things=sketch.things,
    )


def _d(path: list[Point]) -> str:
    first, *rest = [f"{p.x:g} {p.y:g}" for p in path]
    closed = "Z" if len(path) > 2 and path[0] == path[-1] else ""
    return f"M{first}L{' '.join(rest)}{closed}"


def _ticks(layout: Layout, frame: _Frame) -> Iterator[str]:
    """A line across the strip at every six inches of it, and at its ends."""
    path = strip.outline(layout)
    length = float(strip.used(layout))
    for number in range(1, int(length / EVERY_IN) + 1):
        yield _across(path, min(EVERY_IN * number, length), frame)
    if dist(path[0], path[-1]) > 1:
        yield _across(path, length, frame)
        yield _across(path, 0.001, frame)


def _across(path: strip.Outline, inches: float, frame: _Frame) -> str:
    """At right angles to the piece of the path that leads there."""
    taken = strip.along(path, inches)
    before = next(p for p in reversed(taken[:-1]) if p != taken[-1])
    at, was = frame.at(taken[-1]), frame.at(before)
    run = dist(at, was) or 1.0
    dx, dy = HALF * (was.y - at.y) / run, HALF * (at.x - was.x) / run
    return f"M{at.x - dx:.1f} {at.y - dy:.1f}l{2 * dx:.1f} {2 * dy:.1f}"


def _numbers(layout: Layout, frame: _Frame) -> Iterator[Words]:
    """Marks numbered in order, beside the strip; what has no room is only said."""
    last: Point | None = None
    for number, (_, where) in enumerate(strip.marks_on(layout), 1):
        at = frame.at(where)
        if last is not None and dist(at, last) < APART:
            continue
        last = at
        yield _beside(layout, at, frame, str(number))


def _beside(layout: Layout, at: Point, frame: _Frame, number: str) -> Words:
    if layout.shape == "vertical":
        return Words(at.x + 10, at.y + 6, "start", number)
    if layout.shape in ("line", "steps", "held", "lane"):
        return Words(at.x, at.y - 12, "middle", number)
    middle = frame.at(_middle(layout))
    away = dist(at, middle) or 1.0
    x = at.x + 18 * (middle.x - at.x) / away
    return Words(
        round(x, 1), at.y + 18 * (middle.y - at.y) / away + 6, "middle", number
    )


def _middle(layout: Layout) -> Point:
    half = float(layout.size("side")) / 2
    return Point(half, half)


def _inches(layout: Layout, name: str) -> str:
    return f"{plain(layout.size(name))} in"


def _span(a: Point, b: Point, cap: float = 4) -> str:
    """A size line between two points, level or upright, with a cap at each end."""
    along = f"M{a.x:.1f} {a.y:.1f}L{b.x:.1f} {b.y:.1f}"
    caps = f"v{2 * cap}" if a.y == b.y else f"h{2 * cap}"
    lift = (0.0, cap) if a.y == b.y else (cap, 0.0)
    return along + "".join(
        f"M{p.x - lift[0]:.1f} {p.y - lift[1]:.1f}{caps}" for p in (a, b)
    )


def _straight(layout: Layout) -> _Sketch:
    """A line, step marks, or the strip held between two hands."""
    length = float(layout.size("length"))
    top = LINE + 8 if layout.marks else HALF + 6
    frame = _Frame(LONG / length, (WIDE - LONG) / 2, top)
    left, right = frame.at(Point(0, 0)), frame.at(Point(length, 0))
    below = top + HALF + 10
    half, inches = WIDE / 2, _inches(layout, "length")
    things: tuple[Thing, ...] = ()
    if layout.shape == "held":
        things = (Thing("hand", left.x, top), Thing("hand", right.x, top))
    return _Sketch(
        frame,
        below + LINE + 5,
        _span(Point(left.x, below), Point(right.x, below)),
        (
            Words(
                half if layout.zero == "middle" else left.x, below + 18, "middle", "0"
            ),
            Words(right.x, below + 18, "end", inches)
            if layout.zero == "middle"
            else Words(half, below + 18, "middle", inches),
        ),
        things,
    )


def _lane(layout: Layout) -> _Sketch:
    """Two lines, folded at the right end; the person walks between them."""
    length, gap = float(layout.size("length")), float(layout.size("gap"))
    scale = min(LANE_LONG / length, 70 / gap) if gap else LANE_LONG / length
    high = max(gap * scale, NARROWEST)
    frame = _Frame(scale, 10, HALF + 4 + high, high / (gap * scale or high))
    right = 10 + length * scale
    below = frame.y + HALF + 10
    middle = frame.y - high / 2
    return _Sketch(
        frame,
        below + LINE + 5,
        _span(Point(10, below), Point(right, below))
        + _span(Point(right + 12, frame.y - high), Point(right + 12, frame.y)),
        (
            Words(
                10 + length * scale / 2, below + 18, "middle", _inches(layout, "length")
            ),
            Words(right + 18, middle + 6, "start", _inches(layout, "gap")),
        ),
        (Thing("feet", 30, middle),) if high > 45 else (),
    )


def _square(layout: Layout) -> _Sketch:
    side = float(layout.size("side"))
    frame = _Frame(ROUND_HIGH / side, 14, HALF + 3 + ROUND_HIGH)
    right = 14 + ROUND_HIGH + 14
    return _Sketch(
        frame,
        frame.y + HALF + 3,
        _span(Point(right, frame.y - ROUND_HIGH), Point(right, frame.y)),
        (
            Words(
                right + 8,
                frame.y - ROUND_HIGH / 2 + 6,
                "start",
                _inches(layout, "side"),
            ),
        ),
        (Thing("feet", 14 + ROUND_HIGH / 2, frame.y - ROUND_HIGH / 2),),
    )


def _ring(layout: Layout) -> _Sketch:
    """The person stands in the middle and faces up; a line shows the radius."""
    half = ROUND_HIGH / 2
    frame = _Frame(half / float(layout.size("radius")), 14 + half, HALF + 3 + half)
    right = 14 + ROUND_HIGH + 10
    return _Sketch(
        frame,
        frame.y + half + HALF + 3,
        _span(
            Point(frame.x, frame.y + 12), Point(frame.x + half - HALF - 3, frame.y + 12)
        ),
        (
            Words(right, frame.y + 2, "start", _inches(layout, "radius")),
            Words(right, frame.y + 22, "start", "radius"),
        ),
        (Thing("feet", frame.x, frame.y - 4),),
    )


def _loop(layout: Layout) -> _Sketch:
    path = strip.outline(layout)
    deep = max(-p.y for p in path)
    frame = _Frame(ROUND_HIGH / deep, 64, HALF + 8)
    return _Sketch(
        frame,
        frame.y + ROUND_HIGH + HALF + 3,
        "",
        (
            Words(118, frame.y + 52, "start", _inches(layout, "round")),
            Words(118, frame.y + 72, "start", "round"),
        ),
        (Thing("hand", frame.x, frame.y),),
    )


def _upright(layout: Layout) -> _Sketch:
    """A floor is drawn where zero lies on it, a seat at the strip's top."""
    down = strip.hangs(layout)
    high = ROUND_HIGH - 34 if layout.where == "seat" else ROUND_HIGH
    foot = ROUND_HIGH + 12
    length = float(layout.size("length"))
    frame = _Frame(high / length, 52, foot - high if down else foot)
    side, middle = frame.x + 28, foot - high / 2
    zero = foot - high + 14 if down else foot - 5
    return _Sketch(
        frame,
        foot + 10,
        _span(Point(side, foot - high), Point(side, foot - 2)),
        (
            Words(side + 8, middle + 6, "start", _inches(layout, "length")),
            Words(side + 8, zero, "start", f"0 {layout.zero}".strip()),
        ),
        tuple(_beside_upright(layout, frame)),
    )


def _beside_upright(layout: Layout, frame: _Frame) -> Iterator[Thing]:
    if layout.where == "wall":
        yield Thing("wall", frame.x - HALF - 3, frame.y)
    if layout.zero == "floor":
        yield Thing("floor", frame.x, frame.y + 2)
    if layout.where == "seat":
        yield Thing("chair", frame.x - HALF - 5, frame.y)
    if strip.hangs(layout):
        yield Thing("hand", frame.x, frame.y)


_SKETCHES: Final = {
    "line": _straight,
    "steps": _straight,
    "held": _straight,
    "lane": _lane,
    "square": _square,
    "ring": _ring,
    "loop": _loop,
    "vertical": _upright,
}
