"""When the key of a simulated trial asks for "Stop - make safe", and a press beside it.

It does where a hand had to be laid on: the person would not have got on alone. That
instant is planned in the case; where none is, nothing says that a stop was needed, and
a stop is still never wrong to make. At the bedside a needless one costs a trial.
"""

from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import Final

from app.practice.case import Key

#: Faults that ask for it, from their instant on (common practice).
ASKS: Final = frozenset({"help_given"})
#: The hand is drawn from so long before its instant on; before, nothing is to be seen.
HAND_SEEN_MS: Final = 250
#: A press later than this after the hand is late: a limit of our own.
LATE_MS: Final = 5_000


def safe_from(key: Key) -> int | None:
    """From when on a stop is right, in ms since the figure's start; None: never."""
    return min((f.at_ms for f in key.faults if f.kind in ASKS), default=None)


def held_to(key: Key, at_ms: int | None, said: Collection[str]) -> Key:
    """What of a key somebody is held to who stopped the trial then.

    It is over and does not count. What began after the press was not seen any more:
    nobody missed it, nor was it wrong to say. `at_ms` None: read in words, all of it.
    """
    seen = tuple(
        f for f in key.faults if at_ms is None or f.at_ms <= at_ms or f.kind in said
    )
    return replace(key, faults=seen, valid=False)


@dataclass(frozen=True, slots=True)
class Press:
    """How a stop, or none, stands to the key.

    `standing`: `right`, `early` (while the hand was coming), `too_early` (before
    anything of it was to be seen), `late`, `not_asked`, `missed`.
    """

    standing: str
    words: str


def standing_of(made_safe: bool, at_ms: int | None, from_ms: int | None) -> str:
    """The standing of a `Press`; empty where none was made and none asked for."""
    if not made_safe:
        return "" if from_ms is None else "missed"
    if from_ms is None:
        return "not_asked"
    after = 0 if at_ms is None else at_ms - from_ms
    if after < 0:
        return "early" if after >= -HAND_SEEN_MS else "too_early"
    return "right" if after <= LATE_MS else "late"


def press_of(
    made_safe: bool, at_ms: int | None, from_ms: int | None, seconds: str
) -> Press | None:
    """None where neither the key asked for a stop nor anybody pressed.

    `seconds`: how far the press lies from the key's instant, in words; empty where the
    trial was read.
    """
    standing = standing_of(made_safe, at_ms, from_ms)
    words = {
        "missed": MISSED, "not_asked": NOT_ASKED, "early": EARLY,
        "too_early": TOO_EARLY, "late": LATE,
    }  # fmt: skip
    right = RIGHT if at_ms is not None else RIGHT_AS_READ
    said = words.get(standing, right).format(seconds)
    return Press(standing, said) if standing else None


MISSED: Final = (
    'You did not press "Stop - make safe", and in this trial a hand had to be laid on. '
    "Help first, press as soon as the person is safe: the trial is over then."
)
NOT_ASKED: Final = (
    "Nobody needed a hand in this trial. At the bedside a stop too many costs a trial, "
    "and one too few may cost a fall: in doubt, press it."
)
RIGHT_AS_READ: Final = "Right: a hand had to be laid on in this trial."
RIGHT: Final = "Right: a hand had to be laid on, and you pressed {} after it was."
EARLY: Final = (
    "You pressed {} before a hand had to be laid on. Who saw it coming was right at "
    "the bedside; by the key alone nothing was to be seen yet."
)
TOO_EARLY: Final = (
    "You pressed {} before a hand had to be laid on, when nothing of it was to be seen "
    "yet. In doubt, press it all the same at the bedside. Here nothing was timed, so "
    "this trial comes back."
)
LATE: Final = (
    "A hand had to be laid on, and you pressed {} after it was. Press as soon as the "
    "person is safe."
)
