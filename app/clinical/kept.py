"""What follows from a row, a test or a fact of the catalogue alone: worked out once.

These are keys as objects, so that nothing kept of one edition is found by another.
Every memory is bounded, and may be asked from many threads at once.
"""

from collections.abc import Callable
from functools import lru_cache
from typing import Final, ParamSpec, TypeVar, cast

Given = ParamSpec("Given")
Made = TypeVar("Made")

#: More than a catalogue has rows: the bound is for a process that reads several.
ROWS: Final = 2048


def once_a_row(function: Callable[Given, Made]) -> Callable[Given, Made]:
    """Remember what `function` makes of rows and plain words.

    Never of a number: 13 and 13.0 are one key and two words.
    """
    return cast(Callable[Given, Made], lru_cache(maxsize=ROWS)(function))
