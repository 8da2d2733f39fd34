"""What was done of an activity as a picture: sessions across, the grade up the tape.

Pure geometry, no judgement: harder is always up. Across, positions are percent of the
picture; down, they are em. Each dot has a column of its own. Words stand in lanes
below, under every session, since of a long course only a part is in sight.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import groupby
from math import ceil
from typing import Final, NamedTuple

from app.clinical.activity import Grade
from app.clinical.quantities import plain

#: More sessions than these stand in the table alone: the latest are drawn.
MOST_SESSIONS: Final = 12
#: Errors drawn as ticks; above these a plus stands behind them.
MOST_TICKS: Final = 6
#: Heights in em: over the plot, the plot, under it, a lane of words, the days.
TOP_EM, PLOT_EM, UNDER_EM, LINE_EM, FOOT_EM = 2.2, 8.0, 1.6, 1.3, 1.9
_LEAST_EM, _ASIDE_EM, _ROWS = 2.4, 0.9, 5
#: The words are bold: wider than those of other pictures.
_LETTER_EM: Final = 0.62
_UNITS: Final = {
    "in": " in inches", "ft": " in feet", "s": " in seconds", "%": " in percent",
    "deg": " in degrees", "count": "",
}  # fmt: skip


class Bout(NamedTuple):
    """Sets done alike at one grade. `says` is like `3x10`; `lanes` one word each."""

    grade: Decimal
    says: str
    lanes: tuple[str, ...]
    errors: int = 0
    stopped: bool = False


@dataclass(frozen=True, slots=True)
class Session:
    """One visit's sets, in order."""

    day: str
    bouts: tuple[Bout, ...]


class Row(NamedTuple):
    y: float
    numeral: str


class Dot(NamedTuple):
    """`ticks` are offsets in em from `x`, drawn under the dot; `more`: a plus."""

    x: float
    y: float
    says: str
    stopped: bool
    ticks: tuple[float, ...]
    more: bool


class Stretch(NamedTuple):
    """Words that hold from `x` on: one to a line."""

    x: float
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Lane:
    """Words from the line at `y` down, parted by strokes from `top` to `bottom`."""

    name: str
    y: float
    top: float
    bottom: float
    stretches: tuple[Stretch, ...]


class Day(NamedTuple):
    """A session's day at its middle; `ends` is where the next session begins."""

    x: float
    words: str
    ends: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseView:
    """Everything the template draws. `width` in em is the least that fits its words."""

    label: str
    axis: str
    width: float
    height: float
    foot: float
    strip: tuple[float, float]
    rows: tuple[Row, ...]
    dots: tuple[Dot, ...]
    lanes: tuple[Lane, ...]
    days: tuple[Day, ...]
    columns: tuple[int, ...]  # of each session
    days_y: float
    left_out: int
    any_errors: bool
    any_stop: bool


class _Plot(NamedTuple):
    """`low` and `high` are steps of the grade's ladder, the easiest being 0."""

    grade: Grade
    low: int
    high: int
    columns: int

    def x(self, place: float) -> float:
        return round(place * 100 / self.columns, 2)

    def y(self, grade: Decimal) -> float:
        share = float((_rung(self.grade, grade) - self.low) / (self.high - self.low))
        return round(TOP_EM + PLOT_EM * (1 - share), 2)


def _rung(grade: Grade, value: Decimal) -> Decimal:
    """How many steps a grade lies above the easiest: harder is more."""
    return (value - grade.easiest) / grade.step


def dose_picture(
    grade: Grade, sessions: Sequence[Session], names: Sequence[str], label: str
) -> DoseView | None:
    """The picture; None without a graded set. `sessions` come oldest first.

    `names` are those of the lanes; `label` says what the picture is of.
    """
    graded = [s for s in sessions if s.bouts]
    drawn = graded[-MOST_SESSIONS:]
    bouts = [bout for session in drawn for bout in session.bouts]
    if not bouts:
        return None
    plot = _plot(grade, bouts)
    foot = TOP_EM + PLOT_EM + UNDER_EM
    lanes = _lanes(plot, drawn, names, foot)
    end = lanes[-1].bottom if lanes else foot
    return DoseView(
        label=label,
        axis=axis_words(grade),
        width=_width(drawn, names),
        height=round(end + FOOT_EM, 2),
        foot=end,
        strip=(round(TOP_EM - 0.8, 2), round(PLOT_EM + 1.6, 2)),
        rows=_rows(plot),
        dots=tuple(_dot(plot, place, bout) for place, bout in enumerate(bouts)),
        lanes=lanes,
        days=tuple(_days(plot, drawn)),
        columns=tuple(len(session.bouts) for session in drawn),
        days_y=round(end + 1.3, 2),
        left_out=len(graded) - len(drawn),
        any_errors=any(bout.errors for bout in bouts),
        any_stop=any(bout.stopped for bout in bouts),
    )


def _plot(grade: Grade, bouts: Sequence[Bout]) -> _Plot:
    """One step more than was done at both ends, so that a flat course looks flat."""
    steps = [_rung(grade, bout.grade) for bout in bouts]
    return _Plot(grade, ceil(min(steps)) - 1, ceil(max(steps)) + 1, len(bouts))


def _rows(plot: _Plot) -> tuple[Row, ...]:
    """A numeral at every step, or at every second, third ... where there are many."""
    every = max(1, ceil((plot.high - plot.low) / _ROWS))
    values = [
        plot.grade.easiest + plot.grade.step * rung
        for rung in range(plot.low, plot.high + 1, every)
    ]
    return tuple(Row(plot.y(v), plain(v)) for v in values if plot.grade.within(v))


def _dot(plot: _Plot, place: int, bout: Bout) -> Dot:
    return Dot(
        plot.x(place + 0.5),
        plot.y(bout.grade),
        bout.says,
        bout.stopped,
        _ticks(min(bout.errors, MOST_TICKS)),
        bout.errors > MOST_TICKS,
    )


def _ticks(count: int) -> tuple[float, ...]:
    """Around the middle, a third of an em apart."""
    return tuple(round((i - (count - 1) / 2) * 0.33, 2) for i in range(count))


def _lanes(
    plot: _Plot, drawn: Sequence[Session], names: Sequence[str], foot: float
) -> tuple[Lane, ...]:
    """A lane nobody said anything for is left out."""
    found: list[Lane] = []
    for which, name in enumerate(names):
        stretches = tuple(
            Stretch(plot.x(place), tuple(words.split()))
            for place, words, _ in _runs(drawn, which)
            if words
        )
        if stretches:
            lines = max(len(stretch.words) for stretch in stretches)
            top = round(foot + 0.3, 2)
            foot = round(top + lines * LINE_EM, 2)
            found.append(Lane(name, round(top + 1, 2), top, foot, stretches))
    return tuple(found)


def _runs(drawn: Sequence[Session], which: int) -> Iterator[tuple[int, str, int]]:
    """Where words begin in a lane, the words, and for how many columns: per session."""
    place = 0
    for session in drawn:
        for words, same in groupby(bout.lanes[which] for bout in session.bouts):
            length = len(list(same))
            yield place, words, length
            place += length


def _days(plot: _Plot, drawn: Sequence[Session]) -> Iterator[Day]:
    place = 0
    for session in drawn:
        length = len(session.bouts)
        yield Day(plot.x(place + length / 2), session.day, plot.x(place + length))
        place += length


def _width(drawn: Sequence[Session], names: Sequence[str]) -> float:
    """Columns wide enough for the days, the dots' words and each lane's words."""
    bouts = [bout for session in drawn for bout in session.bouts]
    wanted = [_LEAST_EM, *(_em(bout.says) for bout in bouts)]
    wanted += [_em(session.day) / len(session.bouts) for session in drawn]
    wanted += [_em("stopped") for bout in bouts if bout.stopped]
    for which in range(len(names)):
        for _, words, columns in _runs(drawn, which):
            wanted += [_em(word) / columns for word in words.split()]
    return round(max(wanted) * len(bouts), 1)


def _em(words: str) -> float:
    return len(words) * _LETTER_EM + _ASIDE_EM


def axis_words(grade: Grade) -> str:
    """`Up the tape is harder: hold in seconds.`"""
    if grade.rungs:
        return f"Up the tape is harder: {grade.what}, by its number on the ladder."
    unit = _UNITS.get(grade.unit, f" in {grade.unit}")
    less = " (less is harder)" if grade.step < 0 else ""
    return f"Up the tape is harder: {grade.what}{unit}{less}."
