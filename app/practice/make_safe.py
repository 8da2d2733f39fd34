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

    `standing`: `right`, `early` (before there was anything), `not_asked`, `missed`.
    """

    standing: str
    words: str


def standing_of(made_safe: bool, at_ms: int | None, from_ms: int | None) -> str:
    """The standing of a `Press`; empty where none was made and none asked for."""
    if not made_safe:
        return "" if from_ms is None else "missed"
    if from_ms is None:
        return "not_asked"
    return "early" if at_ms is not None and at_ms < from_ms else "right"


def press_of(
    made_safe: bool, at_ms: int | None, from_ms: int | None, seconds: str
) -> Press | None:
    """None where neither the key asked for a stop nor anybody pressed.

    `seconds`: how far the press lies from the key's instant, in words; empty where the
    trial was read.
    """
    standing = standing_of(made_safe, at_ms, from_ms)
    words = {"missed": MISSED, "not_asked": NOT_ASKED, "early": EARLY}
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
