"""Differences from the key as a picture: how far off, along how long the trial was.

The idea is Bland and Altman's (Lancet 1986;1:307-310). Drawn against the key alone,
since the key has no error of its own. Only places and words: the template draws them.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import ceil, floor
from typing import Final

from app.practice.agreement import Interval, Limits
from app.practice.scale import Scale, signed, two_places

HEIGHT: Final = 17.0  # em, all of it
TOP, FOOT = 1.0, 14.0  # the plot's own, in em
#: Labels of lines that lie closer than this would cover each other.
APART: Final = 1.25
STEPS: Final = (10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000, 60_000,
                300_000, 1_000_000)  # fmt: skip
MOST_ROWS, MOST_COLUMNS = 6, 4
#: What each difference is: the key's result, and how much more was said; thousandths.
Difference = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Row:
    """A line across with its numeral."""

    y: float
    numeral: str
    zero: bool


@dataclass(frozen=True, slots=True)
class Column:
    """A numeral of the key's time."""

    x: float
    numeral: str


@dataclass(frozen=True, slots=True)
class Level:
    """The average or a limit: its line, its interval, and its label, kept apart."""

    kind: str  # `average` or `limit`
    y: float
    band: tuple[float, float]  # where the interval begins, and how high it is
    label_y: float
    words: str


@dataclass(frozen=True, slots=True)
class Dot:
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class ApartView:
    """The picture; `x` in percent of its width, `y` in em."""

    label: str
    caption: str
    height: float
    strip: tuple[float, float]
    foot: float
    foot_end: float
    numerals_y: float
    rows: tuple[Row, ...]
    columns: tuple[Column, ...]
    levels: tuple[Level, ...]
    dots: tuple[Dot, ...]
    says: tuple[str, ...]


def apart_picture(
    differences: Sequence[Difference], limits: Limits, who: str, scale: Scale
) -> ApartView:
    """Of at least one difference, with the limits that were made from them."""
    lines = (limits.upper, limits.bias, limits.lower)
    ends = [end for each in lines for end in (each.low, each.high)]
    low, high, step = _scale([*ends, 0.0, *(d for _, d in differences)], MOST_ROWS)
    left, right, wide = _scale([key for key, _ in differences], MOST_COLUMNS)

    def y(ms: float) -> float:
        return round(FOOT - (ms - low) / (high - low) * (FOOT - TOP), 3)

    def x(ms: float) -> float:
        return round((ms - left) / (right - left) * 100, 3)

    says = words_of(limits, scale)
    return ApartView(
        label=f"Differences of {who} from the key. {says[0]} {says[1]}",
        caption=f"Up: how much {scale.more} than the key{scale.units}. Across: the "
        f"key's {scale.result}{scale.units}.",
        height=HEIGHT,
        strip=(TOP - 0.5, FOOT - TOP + 1.0),
        foot=FOOT + 0.5,
        foot_end=FOOT + 0.9,
        numerals_y=FOOT + 2.0,
        rows=tuple(
            Row(y(at), _numeral(at, step), at == 0) for at in _marks(low, high, step)
        ),
        columns=tuple(
            Column(x(at), _plain(at, wide)) for at in _marks(left, right, wide)
        ),
        levels=_levels(lines, y),
        dots=tuple(Dot(x(key), y(off)) for key, off in differences),
        says=says,
    )


def words_of(limits: Limits, scale: Scale) -> tuple[str, str]:
    """The picture in two sentences."""
    bias = limits.bias
    off = two_places(bias.value)
    way = f"{scale.more if off > 0 else scale.less} than" if off else "the same as"
    size = f"{scale.amount(bias.value)} " if off else ""
    if not bias.told:
        return (
            f"On average {size}{way} the key (n = {limits.n}).",
            f"All {limits.n} differences were the same, {scale.signed(bias.value)}; no "
            "limits can be given.",
        )
    average = (
        f"On average {size}{way} the key (95 % interval {signed(bias.low)} to "
        f"{scale.signed(bias.high)}; SD {scale.amount(limits.sd)}; n = {limits.n})."
    )
    lower, upper = limits.lower, limits.upper
    spread = (
        f"95 of 100 differences are expected between {signed(lower.value)} and "
        f"{scale.signed(upper.value)} (limits of agreement; 95 % intervals "
        f"{signed(lower.low)} to {signed(lower.high)} and {signed(upper.low)} to "
        f"{scale.signed(upper.high)})."
    )
    return average, spread


def _scale(values: Sequence[float], most: int) -> tuple[int, int, int]:
    """Round ends that hold all values, and the step between marks."""
    least, largest = min(values), max(values)
    for step in STEPS:
        low, high = floor(least / step) * step, ceil(largest / step) * step
        if low == high:
            low, high = low - step, high + step
        if (high - low) // step <= most:
            return low, high, step
    return low, high, max(STEPS[-1], high - low)


def _marks(low: int, high: int, step: int) -> range:
    return range(low, high + 1, step)


def _numeral(ms: int, step: int) -> str:
    text = _plain(abs(ms), step)
    return text if ms == 0 else f"+{text}" if ms > 0 else f"\u2212{text}"


def _plain(ms: int, step: int) -> str:
    places = 0 if step % 1000 == 0 else 1 if step % 100 == 0 else 2
    return f"{ms / 1000:.{places}f}"


def _levels(
    lines: Sequence[Interval], y: Callable[[float], float]
) -> tuple[Level, ...]:
    """From above to below; labels move apart where their lines are close.

    The average alone where no limits can be given.
    """
    if not any(line.told for line in lines):
        at, words = y(lines[1].value), signed(lines[1].value)
        return (Level("average", at, (at, 0.0), at, words),)
    wanted = [y(line.value) for line in lines]
    placed = _kept_apart(wanted)
    kinds = ("limit", "average", "limit")
    return tuple(
        Level(
            kind, at, (y(line.high), round(y(line.low) - y(line.high), 3)), label,
            signed(line.value),
        )
        for kind, line, at, label in zip(kinds, lines, wanted, placed, strict=True)
    )  # fmt: skip


def _kept_apart(wanted: Sequence[float]) -> list[float]:
    """The middle stays, the others give way, and all stay inside."""
    upper, middle, lower = wanted
    middle = min(max(middle, TOP + APART), FOOT - APART)
    return [min(upper, middle - APART), middle, max(lower, middle + APART)]
