"""Rows of a time picture without a scale: what happened on which day, and stretches.

Pure geometry, beside `timeline`. What lies too near to be told apart is one mark with
how many it stands for. A stretch that began before the picture, or ends after it, has
no end there.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final, NamedTuple

from app.clinical.timeline import Room, Seen, Span, bunches, in_em, in_rooms

#: Marks nearer than this are one, em: ticks may stand closely, others carry a number.
TICK_GAP_EM: Final = 0.3
MARK_GAP_EM: Final = 1.7


class Happened(NamedTuple):
    """One fact of a row, by its number in the table."""

    fact: int
    day: date
    shape: str


class RowMark(NamedTuple):
    """`of` are the facts it stands for; `says` how many, if several."""

    x: float
    shape: str
    of: tuple[int, ...]
    says: str = ""


@dataclass(frozen=True, slots=True)
class RowView:
    """One row: its name stands left of the plot."""

    name: str
    marks: tuple[Seen[RowMark], ...]


def row(
    name: str, span: Span, happened: Sequence[Happened], *, gap: float = MARK_GAP_EM
) -> RowView:
    """A row of like marks, thinned out for each width."""

    def draw(room: Room) -> list[RowMark]:
        found = bunches(happened, lambda h: in_em(span.x(h.day), room), gap)
        return [_mark(span, bunch, gap) for bunch in found]

    return RowView(name, in_rooms(draw))


def _mark(span: Span, bunch: Sequence[Happened], gap: float) -> RowMark:
    """It stands at the first of its bunch; ticks need no number: they show a rhythm."""
    many = str(len(bunch)) if len(bunch) > 1 and gap == MARK_GAP_EM else ""
    of = tuple(h.fact for h in bunch)
    return RowMark(span.x(bunch[0].day), bunch[0].shape, of, many)


@dataclass(frozen=True, slots=True)
class Stretch:
    """From a day to a day; None: it goes on. `ends` are facts drawn at their days."""

    begins: date
    ends: date | None
    facts: tuple[Happened, ...]


@dataclass(frozen=True, slots=True)
class BarView:
    """A stretch: `before` and `after` say that it goes on past the picture's edge."""

    x: float
    to: float
    before: bool
    after: bool
    marks: tuple[RowMark, ...]


def bar(span: Span, stretch: Stretch) -> BarView:
    """Cut at both edges; a fact outside stands on the edge it lies behind."""
    last = stretch.ends or span.last
    left, right = span.x(stretch.begins), span.x(last)
    marks: dict[tuple[float, str], RowMark] = {}
    for fact in stretch.facts:
        x = span.x(fact.day)
        kept = marks.get((x, fact.shape), RowMark(x, fact.shape, ()))
        marks[x, fact.shape] = kept._replace(of=(*kept.of, fact.fact))
    return BarView(
        x=left,
        to=max(left, right),
        before=stretch.begins < span.first,
        after=stretch.ends is None or stretch.ends > span.last,
        marks=tuple(marks.values()),
    )
