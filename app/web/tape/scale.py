"""The scale under the marks: nice round steps, and torn ends for what lies beyond."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

from app.clinical.quantities import plain
from app.web.tape.marks import Stretch, Tick

MOST_INTERVALS = 6
#: Percent of the strip: margins, where a torn end is torn, and where its stub lies.
EDGE, TORN_EDGE, TEAR, STUB = 4.0, 12.0, 7.5, 3.0
#: A numeral this near to today's pole, in percent, cannot be read.
STRUCK = 3.5


@dataclass(frozen=True, slots=True)
class Scale:
    low: Decimal
    high: Decimal
    step: Decimal
    off_low: bool
    off_high: bool

    def off(self, value: Decimal) -> bool:
        return not self.low <= value <= self.high

    def x(self, value: Decimal) -> float:
        """Percent of the strip; beyond a torn end, the stub behind the tear."""
        if value < self.low:
            return STUB
        if value > self.high:
            return 100 - STUB
        left = TORN_EDGE if self.off_low else EDGE
        right = 100 - (TORN_EDGE if self.off_high else EDGE)
        share = float((value - self.low) / (self.high - self.low))
        return round(left + share * (right - left), 2)

    def stretch(self, low: Decimal, high: Decimal) -> Stretch:
        left = self.x(low)
        return Stretch(left, round(self.x(high) - left, 2))

    def tears(self) -> tuple[float, ...]:
        ends = ((TEAR, self.off_low), (100 - TEAR, self.off_high))
        return tuple(x for x, torn in ends if torn)


def _steps() -> Iterator[Decimal]:
    for power in range(-3, 7):
        for first in (1, 2, 5):
            yield Decimal(first).scaleb(power)


def scale_for(low: Decimal, high: Decimal, values: Iterable[Decimal]) -> Scale:
    """The usual stretch, grown to hold all marks, but at most 2.5 times as long.

    A far value would squeeze everything else into a corner: it goes off the end.
    """
    if not low < high:
        raise ValueError(f"a tape from {low} to {high} has no length")
    reach, wanted = high - low, list(values)
    least = low - reach / 2
    if low >= 0:
        least = max(least, Decimal(0))
    drawn = [v for v in wanted if least <= v <= high + reach]
    bottom, top = min(low, *drawn, high), max(high, *drawn, low)
    for step in _steps():
        first = (bottom / step).to_integral_value(ROUND_FLOOR)
        last = (top / step).to_integral_value(ROUND_CEILING)
        if last - first <= MOST_INTERVALS:
            break
    bottom, top = first * step, last * step
    off_low, off_high = (any(v < bottom for v in wanted), any(v > top for v in wanted))
    return Scale(bottom, top, step, off_low, off_high)


def ticks(scale: Scale, pole: float | None = None) -> tuple[Tick, ...]:
    """Every tick; a numeral that today's pole would strike through is left out."""
    parts = 4 if scale.step.as_tuple().digits[0] == 2 else 5
    count = int((scale.high - scale.low) / scale.step) * parts
    every = [_tick(scale, place, parts) for place in range(count + 1)]
    if pole is None:
        return tuple(every)
    return tuple(
        t._replace(numeral="") if abs(t.x - pole) < STRUCK else t for t in every
    )


def _tick(scale: Scale, place: int, parts: int) -> Tick:
    value = scale.low + scale.step * place / parts
    if place % parts:
        return Tick(scale.x(value))
    return Tick(scale.x(value), True, plain(value), place // parts % 2 == 1)
