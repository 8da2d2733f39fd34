"""Education and teach-back in closed lists, and one such event in words.

To whom is said by role and never by name. Wording: common practice.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from app.clinical.vocabulary import closed

TO: Final = closed(
    patient="patient",
    family="family",
    home_helper="home helper",
    aide="nursing aide",
    nurse="nurse",
    other="somebody else",
)
TOPICS: Final = closed(
    transfers="transfers",
    guarding="guarding with the belt",
    walking="walking",
    self_care="washing, dressing",
    precautions="what not to do",
    stop_signs="when to stop",
    falls="after a fall",
    pacing="pacing and rest",
    exercises="exercises",
    strip="the strip",
    room="room or home",
    other="something else",
)
HOW: Final = closed(told="told", shown="shown", practised="practised")
#: Whether they showed it back.
BACK: Final = closed(
    alone="alone",
    prompts="with prompts",
    not_yet="not yet",
    declined="declined",
)
#: The same as the record says it.
_BACK_SAID: Final[Mapping[str, str]] = closed(
    alone="showed it back alone",
    not_yet="not shown back yet",
    declined="declined to show it back",
)
LONGEST_WORDS: Final = 80
MOST_PROMPTS: Final = 20


@dataclass(frozen=True, slots=True)
class Taught:
    """One topic, to one listener: how it was taught and what came back."""

    to: str
    topic: str
    how: str
    back: str
    prompts: int | None = None
    words: str = ""


def taught_words(taught: Taught) -> str:
    """`Taught family: guarding with the belt; shown; showed it back with 2 prompts`.

    >>> taught_words(Taught("aide", "other", "told", "not_yet", words="lamp at night"))
    'Taught nursing aide: “lamp at night”; told; not shown back yet'
    """
    quoted = f"“{taught.words}”" if taught.words else ""
    topic = TOPICS[taught.topic] if taught.topic != "other" else ""
    about = ", ".join(part for part in (topic, quoted) if part)
    said = f"Taught {TO[taught.to]}: {about}; {HOW[taught.how]}"
    return f"{said}; {_back_words(taught)}"


def _back_words(taught: Taught) -> str:
    if taught.back != "prompts":
        return _BACK_SAID[taught.back]
    many = "" if taught.prompts == 1 else "s"
    return f"showed it back with {taught.prompts} prompt{many}"
