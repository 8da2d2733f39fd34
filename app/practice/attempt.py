"""One attempt at a practice trial beside its key, as plain values.

What the student did (`taken`, `said`) and what the key of the same trial says (`key`).
Times are whole milliseconds; an offset is the student's instant less the key's, so that
a positive one is late.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Final, Literal

#: Watched as a figure, or read as described in words; empty: kept before it was asked.
Way = Literal["watched", "words", ""]
WAYS: Final[tuple[Way, ...]] = ("watched", "words", "")
#: How a showing is begun: one of them, chosen once.
BEGUN: Final[tuple[Way, ...]] = ("watched", "words")


@dataclass(frozen=True)
class Beside:
    """What was said and what the key says, in whole thousandths of `unit`."""

    said: int
    key: int
    unit: str  # of app.practice.scale.SCALES

    @property
    def off(self) -> int:
        """Positive: too much."""
        return self.said - self.key


@dataclass(frozen=True)
class Attempt:
    """What one person timed and said of one showing, and what its key says of it.

    Read in words it has no timing: `taken_ms` and all offsets are None. Faults, the
    decision, a count and a distance are judged all the same.
    """

    id: int
    person: int
    case: str
    measure: str
    trial: int
    seed: int
    edition: str  # of the key, as it was when the attempt was made
    taken_ms: int | None  # stop less start, as the student timed it
    key_ms: int
    start_off_ms: int | None  # positive: started late
    stop_off_ms: int | None  # positive: stopped late
    faults_said: frozenset[str]
    faults_key: frozenset[str]
    valid_said: bool | None  # None: not decided
    valid_key: bool
    at: datetime
    shared: bool
    way: Way = "watched"
    split_offs_ms: tuple[int | None, ...] = ()  # one for each part of the key
    count: Beside | None = None
    distance: Beside | None = None
    press: str = ""  # how "Stop - make safe", or none, stands: make_safe.standing_of

    def beside(self, unit: str) -> Beside | None:
        """The result in that unit beside the key's; None where there is none of it."""
        if unit == "count":
            return self.count
        if unit == "in":
            return self.distance
        if self.taken_ms is None:
            return None
        return Beside(self.taken_ms, self.key_ms, "s")


@dataclass(frozen=True)
class Said:
    """What is sent of one showing. Instants in whole ms since the figure's start.

    `start_ms` and `stop_ms` are None where the trial was read in words and only a time
    was typed (`typed_ms`): that says nothing of how well somebody times. So are all
    three where "Stop - make safe" was pressed, or would have been (`made_safe`).
    """

    start_ms: int | None = None
    stop_ms: int | None = None
    typed_ms: int | None = None
    splits: tuple[int, ...] = ()
    count: int | None = None
    distance: str = ""  # inches, as typed
    faults: tuple[str, ...] = ()
    valid: bool | None = None
    way: Way = ""
    made_safe: bool = False
    made_safe_ms: int | None = None  # None: read in words

    @property
    def taken_ms(self) -> int | None:
        """The time by the stopwatch, or as typed; None when there is none."""
        if self.start_ms is None or self.stop_ms is None:
            return self.typed_ms
        return self.stop_ms - self.start_ms
