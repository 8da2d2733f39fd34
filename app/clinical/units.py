"""Minutes of one day to units, by the published counting rule for timed services.

What it does not do: choose a billing code, or decide a tie. Services are the site's
own; here they are numbers. Whole minutes and whole units only.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

#: Minutes that one unit stands for, and how many are enough for the last one.
UNIT_MIN: Final = 15
ENOUGH_MIN: Final = 8


@dataclass(frozen=True, slots=True)
class Published:
    """What a rule says in our words, where it stands, and how that is known."""

    says: str
    source: str
    how: str


#: Which rule a site counts by. That other payers count each service alone was read of,
#: not in the words of a payer; where none is counted there is nothing to cite.
RULES: Final[Mapping[str, Published | None]] = MappingProxyType(
    {
        "medicare": Published(
            "All timed minutes of the day are added up first; 8 to 22 are one unit, "
            "and each 15 more are one more. Each full 15 minutes of a service are its "
            "own unit; what the total still gives goes where most minutes are left.",
            "US Medicare, Claims Processing Manual (Pub. 100-04), chapter 5, "
            "section 20.2, part C",
            "rules: full text, as a coding publisher quotes them; table to 8 units: "
            "secondary; beyond it, and the form for splitting: computed",
        ),
        "each": Published(
            "Each service is counted alone: 8 to 22 minutes are one unit, and each 15 "
            "more are one more.",
            "midpoint rule of some payers other than Medicare",
            "secondary",
        ),
        "none": None,
    }
)
TOTALS: Final = Published(
    "The record holds the timed minutes and all treatment minutes; rest and other time "
    "that cannot be billed is in neither.",
    "US Medicare, Benefit Policy Manual (Pub. 100-02), chapter 15, section 220.3 E",
    "full text",
)


@dataclass(frozen=True, slots=True)
class Given:
    """One service of the day, by its number, and its whole minutes."""

    key: int
    minutes: int
    timed: bool = True

    def __post_init__(self) -> None:
        if type(self.minutes) is not int or self.minutes < 0:
            raise ValueError(f"{self.minutes!r} are no whole minutes")


@dataclass(frozen=True, slots=True)
class Tie:
    """Units that remain, and the services whose left-over minutes are equal."""

    left: int
    among: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Count:
    """What a day's minutes come to.

    `units` is None where none are counted. `split` holds what is certain and what was
    chosen; while a tie is open it is short of `units` by what the tie leaves.
    """

    timed: int
    untimed: int
    unbillable: int
    units: int | None
    split: Mapping[int, int]
    tie: Tie | None = None
    chosen: frozenset[int] = frozenset()

    @property
    def treatment(self) -> int:
        """Timed and untimed minutes; pauses are in neither total."""
        return self.timed + self.untimed

    @property
    def is_open(self) -> bool:
        """Whether somebody has yet to say where a unit goes."""
        return self.tie is not None and not self.chosen


def units_in(minutes: int) -> int:
    """Units of so many timed minutes: 8 to 22 are one, and 15 more for each further.

    >>> [units_in(m) for m in (7, 8, 22, 23, 127, 128)]
    [0, 1, 1, 2, 8, 9]
    """
    return (minutes + UNIT_MIN - ENOUGH_MIN) // UNIT_MIN


def count(
    given: Sequence[Given],
    *,
    rule: str = "medicare",
    unbillable: int = 0,
    chosen: Collection[int] = (),
) -> Count:
    """A day's totals and units. `chosen` are the services a tie was settled for.

    A choice that does not fit the tie (too few, too many, another) is no choice.
    """
    if rule not in RULES:
        raise ValueError(f"{rule!r} is no rule")
    if len({each.key for each in given}) < len(given):
        raise ValueError("a service is given twice")
    timed = {each.key: each.minutes for each in given if each.timed}
    total = sum(timed.values())
    untimed = sum(each.minutes for each in given if not each.timed)
    if rule == "none":
        return Count(total, untimed, unbillable, None, {})
    if rule == "each":
        alone = {key: units_in(minutes) for key, minutes in timed.items()}
        return Count(total, untimed, unbillable, sum(alone.values()), alone)
    split, tie = _shared(timed)
    taken = frozenset(chosen) if tie and _settles(tie, chosen) else frozenset()
    split = {key: units + (key in taken) for key, units in split.items()}
    return Count(total, untimed, unbillable, units_in(total), split, tie, taken)


def _settles(tie: Tie, chosen: Collection[int]) -> bool:
    return len(set(chosen)) == tie.left and set(chosen) <= set(tie.among)


def _shared(timed: Mapping[int, int]) -> tuple[dict[int, int], Tie | None]:
    """The certain units of each service, and the tie that is left, if there is one.

    Each service has a unit for every full 15 minutes of its own; what the total still
    gives goes where most minutes are left over. Ours; it makes the manual's examples.
    """
    split = {key: minutes // UNIT_MIN for key, minutes in timed.items()}
    left = units_in(sum(timed.values())) - sum(split.values())
    over = {key: minutes % UNIT_MIN for key, minutes in timed.items()}
    for most in sorted(set(over.values()), reverse=True):
        alike = tuple(key for key, minutes in over.items() if minutes == most)
        if 0 < left < len(alike):
            return split, Tie(left, alike)
        if left >= len(alike):
            left -= len(alike)
            split |= {key: split[key] + 1 for key in alike}
    return split, None
