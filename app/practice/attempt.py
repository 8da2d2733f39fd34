"""One attempt at a practice trial beside its key: plain values, for the page and figures.

What the student did (`taken`, `said`) and what the key of the same trial says (`key`).
Times are whole milliseconds; an offset is the student's instant less the key's, so that
a positive one is late.
"""

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True)
class Attempt:
    """What one person timed and said of one showing, and what its key says of it."""

    id: int
    person: int
    case: str
    measure: str
    trial: int
    seed: int
    edition: str  # of the key, as it was when the attempt was made
    taken_ms: int  # stop less start, as the student timed it
    key_ms: int
    start_off_ms: int  # positive: started late
    stop_off_ms: int  # positive: stopped late
    faults_said: frozenset[str]
    faults_key: frozenset[str]
    valid_said: bool | None  # None: not decided
    valid_key: bool
    at: datetime
    shared: bool
