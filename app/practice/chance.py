"""A small generator of our own: the same seed gives the same numbers everywhere.

The seed is a SHA-256 of plain text, and only `random.Random.random()` is drawn from,
whose sequence Python promises to keep. Everything else is arithmetic on it; no sine or
root of another kind than `sqrt` is used anywhere in a timeline, so that no machine's
mathematics library can change a digit.
"""

from bisect import bisect_right
from collections.abc import Callable
from hashlib import sha256
from random import Random

#: How a share of the time becomes a share of the way, both from 0 to 1.
Way = Callable[[float], float]


class Chance:
    """Draws of one showing, in the order they are asked for."""

    def __init__(self, *seed: object) -> None:
        text = "|".join(str(part) for part in seed)
        self._random = Random(int.from_bytes(sha256(text.encode()).digest()))

    def between(self, low: float, high: float) -> float:
        """Somewhere from `low` to `high`, all equally likely."""
        return low + (high - low) * self._random.random()

    def ms(self, span: tuple[int, int]) -> int:
        """A whole number of a span, towards its middle: the mean of two draws."""
        low, high = span
        return round(low + (high - low) * (self.between(0, 1) + self.between(0, 1)) / 2)


def ease(share: float) -> float:
    """From 0 to 1 without a jerk at either end."""
    share = min(max(share, 0.0), 1.0)
    return share * share * (3 - 2 * share)


def leave(share: float) -> float:
    """Off at once, and gently to rest."""
    return share * (3 - share) / 2


def land(share: float) -> float:
    """Gently off, and still moving when it arrives: a foot or a seat is met."""
    return share * (1 + share) / 2


def steady(share: float) -> float:
    """At one speed all the way."""
    return share


class Track:
    """One quantity over time: it goes from mark to mark, by default easing."""

    def __init__(self, value: float) -> None:
        self._times: list[int] = [0]
        self._values: list[float] = [value]
        self._ways: list[Way] = [ease]

    def to(self, at_ms: int, value: float, way: Way = ease) -> "Track":
        """Reach `value` at that instant."""
        if at_ms < self._times[-1]:
            raise ValueError(f"{at_ms} ms lies before {self._times[-1]} ms")
        self._times.append(at_ms)
        self._values.append(value)
        self._ways.append(way)
        return self

    def hold(self, at_ms: int) -> "Track":
        """Stay at the last value until that instant."""
        return self.to(max(at_ms, self._times[-1]), self._values[-1])

    def over(self, from_ms: int, to_ms: int, value: float, way: Way = ease) -> "Track":
        """Wait, then move to `value` within that stretch."""
        return self.hold(from_ms).to(to_ms, value, way)

    def at(self, ms: float) -> float:
        """The value at an instant; the last one ever after."""
        i = bisect_right(self._times, ms)
        if i == len(self._times):
            return self._values[-1]
        t0, t1 = self._times[i - 1], self._times[i]
        share = self._ways[i]((ms - t0) / (t1 - t0))
        return self._values[i - 1] + (self._values[i] - self._values[i - 1]) * share
