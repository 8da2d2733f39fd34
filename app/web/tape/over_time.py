"""The time picture: days across, scores up, and attempts without a number below.

Pure geometry, no judgement. Across, positions are percent of the plot; down, they are
em. The numbers stand left of the plot, so that no mark covers them.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final, Literal, NamedTuple

from app.clinical.quantities import plain
from app.web.dates import day_words
from app.web.tape.marks import KeyLine, Mark, Text
from app.web.tape.scale import Scale, scale_for

DotShape = Literal["latest", "pin", "other", "unable", "stopped"]
#: Heights in em: over the plot, the plot, the lane of what has no number.
TOP_EM, PLOT_EM, LANE_EM, FOOT_EM = 0.8, 9.0, 1.8, 1.9
#: Percent of the plot left free at both sides.
ASIDE: Final = 5.0
_SAID: Final[dict[DotShape, str]] = {
    "latest": "the latest score",
    "pin": "compares with the latest",
    "other": "does not compare with it",
    "unable": "unable: no number",
    "stopped": "stopped for safety: no number",
}


@dataclass(frozen=True, slots=True)
class Dot:
    """One attempt; `value` is None where it gave no number."""

    day: date
    value: Decimal | None
    shape: DotShape


class Line(NamedTuple):
    """A straight line from the first day to the last, in the scores' unit."""

    begins: Decimal
    ends: Decimal


class Row(NamedTuple):
    y: float
    numeral: str


class Stroke(NamedTuple):
    x1: float
    y1: float
    x2: float
    y2: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeView:
    """Everything the template draws; `label` says it all, `axis` what goes up."""

    label: str
    axis: str
    height: float
    foot: float
    rows: tuple[Row, ...]
    lane: float | None
    marks: tuple[Mark, ...]
    line: Stroke | None
    days: tuple[Text, ...]
    days_y: float
    key: tuple[KeyLine, ...]


class _Plot(NamedTuple):
    scale: Scale
    first: date
    last: date

    def x(self, day: date) -> float:
        length = (self.last - self.first).days
        if not length:
            return 50.0
        share = (day - self.first).days / length
        return round(ASIDE + share * (100 - 2 * ASIDE), 2)

    def y(self, value: Decimal) -> float:
        return round(TOP_EM + PLOT_EM * (100 - self.scale.x(value)) / 100, 2)


def over_time(
    dots: Sequence[Dot], line: Line | None, *, reach: Decimal, axis: str, label: str
) -> TimeView | None:
    """The picture; None without a number. `dots` come oldest first.

    `reach` is the length of the usual stretch: a tenth of it is kept free over and
    under the scores, so that small wobbles do not look like leaps.
    """
    values = [d.value for d in dots if d.value is not None]
    if not values:
        return None
    ends = [*line] if line else []
    plot = _Plot(_scale([*values, *ends], reach), dots[0].day, dots[-1].day)
    has_lane = any(d.value is None for d in dots)
    foot = TOP_EM + PLOT_EM + (LANE_EM if has_lane else 0)
    lane = round(foot - LANE_EM / 2, 2) if has_lane else None
    return TimeView(
        label=label,
        axis=axis,
        height=round(foot + FOOT_EM, 2),
        foot=round(foot, 2),
        rows=tuple(_rows(plot)),
        lane=lane,
        marks=tuple(_mark(plot, dot, lane) for dot in dots),
        line=_stroke(plot, dots, line),
        days=_days(plot),
        days_y=round(foot + 1.4, 2),
        key=tuple(_key(dots, line)),
    )


def _scale(values: Sequence[Decimal], reach: Decimal) -> Scale:
    low, high = min(values) - reach / 10, max(values) + reach / 10
    if min(values) >= 0:
        low = max(low, Decimal(0))
    return scale_for(low, high, values)


def _rows(plot: _Plot) -> Iterator[Row]:
    scale = plot.scale
    for place in range(int((scale.high - scale.low) / scale.step) + 1):
        value = scale.low + scale.step * place
        yield Row(plot.y(value), plain(value))


def _mark(plot: _Plot, dot: Dot, lane: float | None) -> Mark:
    y = plot.y(dot.value) if dot.value is not None else lane
    assert y is not None
    return Mark(plot.x(dot.day), dot.shape, y)


def _stroke(plot: _Plot, dots: Sequence[Dot], line: Line | None) -> Stroke | None:
    """From the first to the last day of what the slope was made from."""
    if line is None:
        return None
    days = [d.day for d in dots if d.shape in ("latest", "pin")]
    return Stroke(
        plot.x(days[0]), plot.y(line.begins), plot.x(days[-1]), plot.y(line.ends)
    )


def _days(plot: _Plot) -> tuple[Text, ...]:
    if plot.first == plot.last:
        return (Text(50.0, "middle", day_words(plot.first)),)
    return (
        Text(0.0, "start", day_words(plot.first)),
        Text(100.0, "end", day_words(plot.last)),
    )


def _key(dots: Sequence[Dot], line: Line | None) -> Iterator[KeyLine]:
    for shape, words in _SAID.items():
        if any(d.shape == shape for d in dots):
            yield KeyLine(shape, words)
    if line:
        yield KeyLine("slope", "the middle of all slopes between two scores")
