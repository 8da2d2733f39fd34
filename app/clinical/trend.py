"""Which way four or more comparable scores run: the Theil-Sen slope and its interval.

The slope is the median of all pairwise slopes; its interval is Sen's, from the rank
distribution of Kendall's S with ties (Sen 1968, J Am Stat Assoc 63:1379; formula from
memory, checked against scipy.stats.theilslopes). A date for a goal is a range.
"""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from itertools import combinations
from statistics import NormalDist, median
from typing import Final

FEWEST: Final = 4
#: A projection further ahead than this says nothing anybody can use (common practice).
LONGEST: Final = timedelta(days=182)


@dataclass(frozen=True, slots=True)
class Point:
    """A score of one day, as it is shown."""

    day: date
    value: Decimal


@dataclass(frozen=True, slots=True)
class Trend:
    """Change a week in the points' unit; `low` and `high` are its 95 % limits."""

    n: int
    per_week: Fraction
    low: Fraction
    high: Fraction

    @property
    def flat(self) -> bool:
        """The interval spans zero: no direction can be told."""
        return self.low <= 0 <= self.high


def trend(points: Sequence[Point]) -> Trend | None:
    """The slope of the scores; None for fewer than four or fewer than two days."""
    if len(points) < FEWEST or len({p.day for p in points}) < 2:
        return None
    first = min(p.day for p in points)
    x = [Fraction((p.day - first).days, 7) for p in points]
    slope, low, high = theil_sen(x, [Fraction(p.value) for p in points])
    return Trend(len(points), slope, low, high)


def theil_sen(
    x: Sequence[Fraction], y: Sequence[Fraction], level: float = 0.95
) -> tuple[Fraction, Fraction, Fraction]:
    """(slope, low, high) of y over x; x must hold two different values."""
    slopes, size = _slopes(x, y)
    count, n = len(slopes), len(y)
    ties = sum(_tied(k) for values in (x, y) for k in Counter(values).values())
    variance = (n * (n - 1) * (2 * n + 5) - ties) / 18
    z = NormalDist().inv_cdf((1 - level) / 2)  # below zero
    half = z * math.sqrt(max(0.0, variance))
    upper = min(round((count - half) / 2), count - 1)
    lower = max(round((count + half) / 2) - 1, 0)
    middle = Fraction(slopes[(count - 1) // 2] + slopes[count // 2], 2)
    return middle / size, slopes[lower] / size, slopes[upper] / size


def _slopes(x: Sequence[Fraction], y: Sequence[Fraction]) -> tuple[list[int], Fraction]:
    """All slopes in order, each times the number beside them, which makes them whole.

    Whole numbers sort many times faster than fractions, and as exactly.
    """
    wide = math.lcm(*(value.denominator for value in x))
    high = math.lcm(*(value.denominator for value in y))
    across = [int(value * wide) for value in x]
    up = [int(value * high) for value in y]
    pairs = [
        (up[j] - up[i], across[j] - across[i])
        for i, j in combinations(range(len(x)), 2)
        if across[i] != across[j]
    ]
    whole = math.lcm(*{run for _, run in pairs})
    return sorted(rise * (whole // run) for rise, run in pairs), Fraction(
        whole * high, wide
    )


def along(points: Sequence[Point], found: Trend) -> tuple[Fraction, Fraction]:
    """The slope's line on the first and the last day, half of the scores on each side.

    Its start is the median of what the slope leaves of each score, as
    scipy.stats.theilslopes has it with method "joint".
    """
    first = min(p.day for p in points)
    weeks = [Fraction((p.day - first).days, 7) for p in points]
    left = [
        Fraction(p.value) - found.per_week * x
        for p, x in zip(points, weeks, strict=True)
    ]
    begins = median(left)
    return begins, begins + found.per_week * max(weeks)


def _tied(k: int) -> int:
    return k * (k - 1) * (2 * k + 5)


def reaches(
    found: Trend, last: Point, goal: Decimal
) -> tuple[date, date | None] | None:
    """Between which days the goal would be met if it went on so; None when untold.

    The later day is None when the slower limit does not get there within half a year.
    """
    need = Fraction(goal) - Fraction(last.value)
    if found.flat or need == 0 or (need > 0) != (found.per_week > 0):
        return None
    fast, slow = sorted((found.low, found.high), key=abs, reverse=True)
    early, late = _after(last.day, need, fast), _after(last.day, need, slow)
    return None if early is None else (early, late)


def _after(day: date, need: Fraction, per_week: Fraction) -> date | None:
    days = timedelta(days=math.ceil(need / per_week * 7))
    return day + days if days <= LONGEST else None
