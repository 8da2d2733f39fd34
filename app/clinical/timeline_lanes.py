"""A lane of a time picture: values up a tape that stands at its left, days across.

Pure geometry, beside `timeline`. Up is always better, or harder, whatever the numbers
do, so that all lanes of a page read alike: a tape of seconds hangs upside down. What
has no number lies in a row of its own below. Many marks are thinned out to the best and
the worst of each stretch, and every mark says which facts it stands for.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from itertools import pairwise
from typing import Final, Literal, NamedTuple

from app.clinical.quantities import plain
from app.clinical.timeline import (
    LEFT_EM,
    Room,
    Seen,
    Span,
    bunches,
    in_em,
    in_rooms,
)
from app.clinical.timeline_words import BOLD_EM, HALF_EM, Box, Mark, flag_box, worded

#: Heights in em: over the plot, and the row of what has no number.
TOP_EM, NONE_EM = 1.6, 1.7
#: One mark, or the best and the worst, for so many em across.
GAP_EM: Final = 0.9
#: Dashes drawn for the sets of a day; above these a plus stands over them.
MOST_SETS: Final = 5
_DASH_EM: Final = 0.32
_ROW_EM: Final = 1.15


Up = Literal["higher", "lower"]


class Rise(NamedTuple):
    """The values that fit on the tape. `up` says which of them are better or harder."""

    low: Decimal
    high: Decimal
    step: Decimal
    up: Up
    height: float

    def y(self, value: Decimal) -> float:
        """Em from the lane's top; a value beyond the tape lies at its end."""
        share = float((value - self.low) / (self.high - self.low))
        share = min(1.0, max(0.0, share))
        if self.up == "lower":
            share = 1 - share
        return round(TOP_EM + self.height * (1 - share), 2)

    def off(self, value: Decimal) -> int:
        """1 where it lies beyond the upper end of the picture, -1 beyond the lower."""
        side = (value > self.high) - (value < self.low)
        return side if self.up == "higher" else -side

    def rows(self) -> tuple["Row", ...]:
        """A numeral at every step, at every second or third where there are many."""
        count = int((self.high - self.low) / self.step)
        every = -(-count // int(self.height / _ROW_EM))
        values = [self.low + self.step * n for n in range(0, count + 1, every)]
        return tuple(Row(self.y(v), plain(v)) for v in values)


class Row(NamedTuple):
    y: float
    numeral: str


class Point(NamedTuple):
    """One fact of a lane, by its number in the table; without a value it has none.

    `joined`: the line runs through it. `sets` are drawn as dashes under it.
    """

    fact: int
    day: date
    value: Decimal | None
    shape: str
    says: str
    joined: bool = False
    sets: int = 0


class Target(NamedTuple):
    """A value wanted by a day, from the day it was set."""

    fact: int
    begins: date
    due: date
    value: Decimal
    words: str


class Limit(NamedTuple):
    """A published limit, across the whole plot; `crossed` by the latest score."""

    fact: int
    value: Decimal
    crossed: bool


class Error(NamedTuple):
    """What measuring alone can do to the latest score."""

    fact: int
    low: Decimal
    high: Decimal


class Stroke(NamedTuple):
    x1: float
    y1: float
    x2: float
    y2: float


class Tally(NamedTuple):
    """A dash for each set of a day, from `ys[0]` up; `more` than are drawn."""

    x: float
    ys: tuple[float, ...]
    more: bool


class Bracket(NamedTuple):
    """The error interval; an end beyond the tape gets no cap."""

    x: float
    top: float
    bottom: float
    top_cap: bool
    bottom_cap: bool
    of: int


class Notch(NamedTuple):
    y: float
    crossed: bool
    of: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Lane:
    """What a lane is made of; `points` come oldest first.

    `up` says what up means. `steps`: a value holds until the next one, as a grade does.
    """

    rise: Rise
    points: tuple[Point, ...]
    targets: tuple[Target, ...] = ()
    limit: Limit | None = None
    error: Error | None = None
    up: str = ""
    steps: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class LaneView:
    """Everything the template draws."""

    height: float
    strip: tuple[float, float]
    rows: tuple[Row, ...]
    none_y: float | None
    floor: float
    sets_y: float
    marks: tuple[Seen[Mark], ...]
    joins: tuple[Seen[Stroke], ...]
    tallies: tuple[Seen[Tally], ...]
    holds: tuple[Stroke, ...]
    notch: Notch | None
    bracket: Bracket | None
    up: str


class _Kept(NamedTuple):
    point: Point
    of: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class _Plot:
    """A lane with its days; `foot` is where what has a value ends."""

    span: Span
    lane: Lane
    kept: dict[Room, list[_Kept]] = field(default_factory=dict)

    @property
    def foot(self) -> float:
        return TOP_EM + self.lane.rise.height + 0.9

    @property
    def none_y(self) -> float | None:
        if all(p.value is not None for p in self.lane.points):
            return None
        return round(self.foot + NONE_EM / 2, 2)

    @property
    def floor(self) -> float:
        dashes = any(p.sets for p in self.lane.points)
        below = NONE_EM if self.none_y is not None else 0.0
        return round(self.foot + below + (MOST_SETS + 1) * _DASH_EM * dashes, 2)

    def y(self, point: Point) -> float:
        if point.value is not None:
            return self.lane.rise.y(point.value)
        return self.none_y or 0.0

    def x_em(self, day: date, room: Room) -> float:
        return in_em(self.span.x(day), room)


def lane_view(span: Span, lane: Lane) -> LaneView:
    """The lane laid out for every width."""
    plot, rise = _Plot(span, lane), lane.rise
    return LaneView(
        height=round(plot.floor + 0.3, 2),
        strip=(round(TOP_EM - 0.6, 2), round(rise.height + 1.2, 2)),
        rows=rise.rows(),
        none_y=plot.none_y,
        floor=plot.floor,
        sets_y=round(plot.floor - 2 * _DASH_EM, 2),
        marks=_latest_on_top(in_rooms(lambda room: _marks(plot, room))),
        joins=in_rooms(lambda room: _joins(plot, room)),
        tallies=in_rooms(lambda room: _tallies(plot, room)),
        holds=tuple(_holds(span, lane)),
        notch=_notch(lane),
        bracket=_bracket(span, lane),
        up=lane.up,
    )


def _latest_on_top(drawn: tuple[Seen[Mark], ...]) -> tuple[Seen[Mark], ...]:
    return tuple(sorted(drawn, key=lambda seen: seen.it.shape == "latest"))


def marks(span: Span, lane: Lane, room: Room) -> tuple[Mark, ...]:
    """Flags of targets, and every point that fits, with its words where they fit."""
    return _marks(_Plot(span, lane), room)


def _marks(plot: _Plot, room: Room) -> tuple[Mark, ...]:
    span, lane = plot.span, plot.lane
    drawn = [_mark(plot, kept) for kept in _thinned(plot, room)]
    flags = [_flag(plot, target) for target in lane.targets]
    taken = [flag_box(flag, room) for flag in flags]
    taken.append(Box(-9, 0, len(lane.up) * BOLD_EM - LEFT_EM, 1.1))
    lines = list(_lines(span, lane, room))
    return (*flags, *worded(drawn, taken, lines, _bounds(plot, room), room))


def _lines(span: Span, lane: Lane, room: Room) -> Iterator[Box]:
    """The limit and the error, which words would be struck through by."""
    if lane.limit is not None:
        y = lane.rise.y(lane.limit.value)
        yield Box(0, y - 0.1, room.em, y + 0.1)
    bracket = _bracket(span, lane)
    if bracket is not None:
        at = in_em(bracket.x, room)
        yield Box(at - 0.4, bracket.top, at + 0.4, bracket.bottom)


def _thinned(plot: _Plot, room: Room) -> list[_Kept]:
    """Of each kind of mark the best and the worst of each short stretch, in order.

    The first of the line stays, as the latest does: the change is told from it.
    """
    if room not in plot.kept:
        plot.kept[room] = _thin(plot, room)
    return plot.kept[room]


def _thin(plot: _Plot, room: Room) -> list[_Kept]:
    order = {p.fact: place for place, p in enumerate(plot.lane.points)}
    first = next((p.fact for p in plot.lane.points if p.joined), 0)
    kinds: dict[tuple[str, bool, bool], list[Point]] = {}
    for p in plot.lane.points:
        kinds.setdefault((p.shape, p.value is None, p.fact == first), []).append(p)
    found = [
        kept
        for points in kinds.values()
        for bunch in bunches(points, lambda p: plot.x_em(p.day, room), GAP_EM)
        for kept in _ends_of(plot, bunch)
    ]
    return sorted(found, key=lambda kept: order[kept.point.fact])


def _ends_of(plot: _Plot, bunch: Sequence[Point]) -> Iterator[_Kept]:
    """The best and the worst, each with those nearest to it; of equal ones the last."""
    best, worst = min(bunch, key=plot.y), max(bunch, key=plot.y)
    high, low = plot.y(best), plot.y(worst)
    alike = low - high < 2 * HALF_EM
    kept = [bunch[-1]] if alike else [best, worst]
    middle = (high + low) / 2
    nearest = [kept[0] if plot.y(p) <= middle else kept[-1] for p in bunch]
    for one in kept:
        pairs = zip(bunch, nearest, strict=True)
        yield _Kept(one, tuple(p.fact for p, near in pairs if near is one))


def _mark(plot: _Plot, kept: _Kept) -> Mark:
    point, rise = kept.point, plot.lane.rise
    return Mark(
        x=plot.span.x(point.day),
        y=plot.y(point),
        shape=point.shape,
        of=kept.of,
        says=point.says,
        off=0 if point.value is None else rise.off(point.value),
    )


def _flag(plot: _Plot, target: Target) -> Mark:
    """At the day it is due; if that comes later, at the end with an arrow."""
    span, rise = plot.span, plot.lane.rise
    later = target.due > span.last
    return Mark(
        span.x(target.due), rise.y(target.value), "goal", (target.fact,),
        "\u2192" if later else "", "right" if later else "", rise.off(target.value),
    )  # fmt: skip


def _bounds(plot: _Plot, room: Room) -> Box:
    bottom = plot.foot + (NONE_EM if plot.none_y is not None else 0)
    return Box(-0.7, 0.0, room.em + room.aside, bottom + 0.1)


def _joins(plot: _Plot, room: Room) -> tuple[Stroke, ...]:
    """From each point of the line that is drawn to the next one."""
    joined = [k.point for k in _thinned(plot, room) if k.point.joined]
    places = [(plot.span.x(p.day), plot.y(p)) for p in joined]
    if not plot.lane.steps:
        return tuple(Stroke(*one, *other) for one, other in pairwise(places))
    treads = (Stroke(x1, y1, x2, y1) for (x1, y1), (x2, _) in pairwise(places))
    risers = (Stroke(x2, y1, x2, y2) for (_, y1), (x2, y2) in pairwise(places))
    return (*treads, *risers)


def _tallies(plot: _Plot, room: Room) -> list[Tally]:
    """Where days lie too near, those of the last of them."""
    days: dict[date, int] = {}
    for point in plot.lane.points:
        days[point.day] = days.get(point.day, 0) + point.sets
    done = [day for day, sets in days.items() if sets]
    found = bunches(done, lambda day: plot.x_em(day, room), GAP_EM)
    return [_tally(plot, bunch[-1], days[bunch[-1]]) for bunch in found]


def _tally(plot: _Plot, day: date, sets: int) -> Tally:
    base = plot.floor - _DASH_EM
    drawn = range(min(sets, MOST_SETS))
    ys = tuple(round(base - n * _DASH_EM, 2) for n in drawn)
    return Tally(plot.span.x(day), ys, sets > MOST_SETS)


def _holds(span: Span, lane: Lane) -> Iterator[Stroke]:
    """From the day a target was set to the day it is due."""
    for target in lane.targets:
        y = lane.rise.y(target.value)
        yield Stroke(span.x(target.begins), y, span.x(target.due), y)


def _notch(lane: Lane) -> Notch | None:
    limit = lane.limit
    if limit is None:
        return None
    return Notch(lane.rise.y(limit.value), limit.crossed, limit.fact)


def _bracket(span: Span, lane: Lane) -> Bracket | None:
    latest = [p for p in lane.points if p.shape == "latest"]
    error, rise = lane.error, lane.rise
    if error is None or not latest:
        return None
    ends = sorted((rise.y(v), rise.off(v)) for v in (error.low, error.high))
    (top, over), (bottom, under) = ends
    return Bracket(
        span.x(latest[0].day), top, bottom, over != 1, under != -1, error.fact
    )
