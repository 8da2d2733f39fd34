"""What was done of an activity as a picture: sessions across, the grade up the tape.

Pure geometry, no judgement: harder is always up. Across, positions are percent of the
picture; down, they are em. Words stand in lanes below; one that holds for several
sessions in a row is said once for them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import groupby
from math import ceil
from typing import Final, NamedTuple

from app.clinical.activity import Grade
from app.web.tape.marks import LETTER_EM, PHONE_EM, plain

#: More sessions than these stand in the table alone: the latest are drawn.
MOST_SESSIONS: Final = 20
#: Errors drawn as ticks; above these a plus stands behind them.
MOST_TICKS: Final = 6
#: Heights in em: over the plot, the plot, a lane of words, the days under all.
TOP_EM, PLOT_EM, LANE_EM, FOOT_EM = 2.2, 8.0, 1.6, 1.9
_LEAST_EM, _ASIDE_EM, _ROWS = 2.4, 0.7, 5


class Bout(NamedTuple):
    """Sets of one session at one grade. `says` is like `3x10`."""

    grade: Decimal
    says: str
    errors: int = 0
    stopped: bool = False


@dataclass(frozen=True, slots=True)
class Session:
    """One visit's sets: its day, and what each lane says of it."""

    day: str
    bouts: tuple[Bout, ...]
    lanes: tuple[str, ...]


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
    """Words that hold from `x` on for `width` percent."""

    x: float
    width: float
    words: str


@dataclass(frozen=True, slots=True)
class Lane:
    """Words in one line at `y`, parted by strokes from `top` to `bottom`."""

    name: str
    y: float
    top: float
    bottom: float
    stretches: tuple[Stretch, ...]


class Day(NamedTuple):
    x: float
    words: str


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
    days_y: float
    left_out: int
    any_errors: bool
    any_stop: bool


class _Plot(NamedTuple):
    """`low` and `high` are steps of the grade's ladder, the easiest step being 0."""

    grade: Grade
    low: int
    high: int
    columns: int

    def x(self, place: int) -> float:
        return round((place + 0.5) * 100 / self.columns, 2)

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

    `names` are those of the lanes; `label` says the same as the picture.
    """
    graded = [s for s in sessions if s.bouts]
    drawn = graded[-MOST_SESSIONS:]
    if not drawn:
        return None
    plot = _plot(grade, drawn)
    foot = TOP_EM + PLOT_EM + 1.4
    lanes = _lanes(drawn, names, foot)
    end = round(foot + len(lanes) * LANE_EM, 2)
    return DoseView(
        label=label,
        axis=_axis(grade),
        width=_width(drawn, names),
        height=round(end + FOOT_EM, 2),
        foot=foot,
        strip=(TOP_EM - 0.8, PLOT_EM + 1.6),
        rows=_rows(plot),
        dots=tuple(_dots(plot, drawn)),
        lanes=lanes,
        days=tuple(Day(plot.x(i), s.day) for i, s in enumerate(drawn)),
        days_y=round(end + 1.3, 2),
        left_out=len(graded) - len(drawn),
        any_errors=any(b.errors for s in drawn for b in s.bouts),
        any_stop=any(b.stopped for s in drawn for b in s.bouts),
    )


def _plot(grade: Grade, drawn: Sequence[Session]) -> _Plot:
    """One step more than was done at both ends, so that a flat course looks flat."""
    steps = [_rung(grade, bout.grade) for s in drawn for bout in s.bouts]
    low, high = ceil(min(steps)) - 1, ceil(max(steps)) + 1
    return _Plot(grade, low, high, len(drawn))


def _rows(plot: _Plot) -> tuple[Row, ...]:
    """A numeral at every step, or at every second, third ... where there are many."""
    every = max(1, ceil((plot.high - plot.low) / _ROWS))
    values = [
        plot.grade.easiest + plot.grade.step * rung
        for rung in range(plot.low, plot.high + 1, every)
    ]
    return tuple(Row(plot.y(v), plain(v)) for v in values if plot.grade.within(v))


def _dots(plot: _Plot, drawn: Sequence[Session]) -> list[Dot]:
    return [
        Dot(
            plot.x(place),
            plot.y(bout.grade),
            bout.says,
            bout.stopped,
            _ticks(min(bout.errors, MOST_TICKS)),
            bout.errors > MOST_TICKS,
        )
        for place, session in enumerate(drawn)
        for bout in session.bouts
    ]


def _ticks(count: int) -> tuple[float, ...]:
    """Around the middle, a third of an em apart."""
    return tuple(round((i - (count - 1) / 2) * 0.33, 2) for i in range(count))


def _lanes(
    drawn: Sequence[Session], names: Sequence[str], foot: float
) -> tuple[Lane, ...]:
    """A lane nobody said anything for is left out."""
    found: list[Lane] = []
    for which, name in enumerate(names):
        said = [session.lanes[which] for session in drawn]
        if any(said):
            y = round(foot + (len(found) + 1) * LANE_EM - 0.35, 2)
            ends = round(y - 1.05, 2), round(y + 0.3, 2)
            found.append(Lane(name, y, *ends, tuple(_stretches(said))))
    return tuple(found)


def _stretches(said: Sequence[str]) -> list[Stretch]:
    share, place, found = 100 / len(said), 0, []
    for words, same in groupby(said):
        length = len(list(same))
        if words:
            found.append(
                Stretch(round(place * share, 2), round(length * share, 2), words)
            )
        place += length
    return found


def _width(drawn: Sequence[Session], names: Sequence[str]) -> float:
    """Columns wide enough for the days, the dots' words and each lane's words."""
    wanted = [_LEAST_EM]
    wanted += [_em(text) for s in drawn for text in (s.day, *(b.says for b in s.bouts))]
    for which in range(len(names)):
        for words, same in groupby(session.lanes[which] for session in drawn):
            wanted.append(_em(words) / len(list(same)))
    width = max(wanted) * len(drawn)
    return round(width, 1) if width > PHONE_EM - 3 else 0


def _em(words: str) -> float:
    return len(words) * LETTER_EM + _ASIDE_EM


def _axis(grade: Grade) -> str:
    if grade.rungs:
        return f"Up the tape is harder: {grade.what}, by its number on the ladder."
    unit = f" in {grade.unit}" if grade.unit not in ("count", "") else ""
    less = " (less is harder)" if grade.step < 0 else ""
    return f"Up the tape is harder: {grade.what}{unit}{less}."
