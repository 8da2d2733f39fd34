"""Chance from a seed, the same on every machine: only `random.Random(seed).random()`.

That one function is promised to stay the same between versions of Python; choosing and
shuffling are made from it here.
"""

import random
from collections.abc import Sequence
from decimal import Decimal
from typing import TypeVar

T = TypeVar("T")


class Draws:
    """Draws in a row; the same seed gives the same row."""

    def __init__(self, seed: int) -> None:
        self._chance = random.Random(seed)

    def happens(self, chance: float) -> bool:
        """Draws always, so that one chance of 0 does not shift what follows."""
        return self._chance.random() < chance

    def whole(self, low: int, high: int) -> int:
        """A whole number, both ends inside."""
        return low + int(self._chance.random() * (high - low + 1))

    def between(self, low: float, high: float) -> float:
        return low + (high - low) * self._chance.random()

    def one(self, choices: Sequence[T]) -> T:
        return choices[self.whole(0, len(choices) - 1)]

    def mixed(self, choices: Sequence[T]) -> list[T]:
        """All of them in another order."""
        left = list(choices)
        return [left.pop(self.whole(0, len(left) - 1)) for _ in range(len(left))]


def cut(value: float, places: int) -> Decimal:
    """A drawn number as somebody would have written it down."""
    return Decimal(str(round(value, places))).quantize(Decimal(1).scaleb(-places))
