"""What the note page asks of the checks of a text, in one place."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from app.clinical.note import Written

_NUMBER: Final = re.compile(r"\d+(?:[.,:/]\d+)*")


@dataclass(frozen=True, slots=True)
class NumberChange:
    """A number of a made line that no longer stands, or one that is new."""

    number: str
    how: str


@dataclass(frozen=True, slots=True)
class NoteDoubt:
    """One doubt. `key` is that of the line it is about, empty for the whole note."""

    key: str
    says: str


def changed(made: str, text: str) -> tuple[NumberChange, ...]:
    """What became of a made line's numbers; empty where they all stand."""
    before, after = _NUMBER.findall(made), _NUMBER.findall(text)
    return (
        *(NumberChange(n, "gone") for n in dict.fromkeys(before) if n not in after),
        *(NumberChange(n, "new") for n in dict.fromkeys(after) if n not in before),
    )


def doubts(written: Sequence[Written], last_text: str) -> tuple[NoteDoubt, ...]:
    """The same words as last time; nothing else is looked for yet."""
    last = {line for line in last_text.splitlines() if line}
    return tuple(
        NoteDoubt(one.line.key, "The same words as in the last note.")
        for one in written
        if one.own and one.text in last
    )


#: Words that state a skill, each with what must follow it to say anything.
VERBS: Final[Mapping[str, str]] = {
    "graded up": "what, from which grade to which",
    "graded down": "what, from which grade to which",
    "cued": "by sight, words or touch; how many times",
    "compared with": "which value, from when",
}
