"""A note as lines: what each says, the events it was made from, what is still to say.

A line is made from events or it is an empty field with a question: nothing is invented.
What the therapist wrote in place of a made line stands beside it, with its events.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

NoteKind = Literal["visit", "evaluation", "progress", "discharge"]
Section = Literal["subjective", "objective", "assessment", "plan"]

NOTE_KINDS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "visit": "visit note",
        "evaluation": "evaluation",
        "progress": "progress report",
        "discharge": "discharge summary",
    }
)
SECTIONS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "subjective": "Subjective",
        "objective": "Objective",
        "assessment": "Assessment",
        "plan": "Plan",
    }
)
#: In which order the sections stand: a site's setting, since no rule dictates one.
ORDERS: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "soap": ("subjective", "objective", "assessment", "plan"),
        "apso": ("assessment", "plan", "subjective", "objective"),
    }
)


@dataclass(frozen=True, slots=True)
class Ref:
    """An event of the record: its kind (`round`, `set`, `task`, ...) and its number."""

    kind: str
    id: int


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a note.

    `key` stays the same however often the note is made: edits hang on it. `made` is
    empty where no event says anything; `asks` is then what the therapist is asked.
    `verbs`: whether the words that state a skill are offered for it. `lead` stands
    before an answer in the finished text, where the question is gone: `Goal 1: `.
    """

    key: str
    section: Section
    made: str = ""
    refs: tuple[Ref, ...] = ()
    asks: str = ""
    needed: bool = False
    verbs: bool = False
    lead: str = ""


@dataclass(frozen=True, slots=True)
class Written:
    """A line as it stands in the note: `text` is empty where it was left out."""

    line: Line
    text: str
    own: bool = False  # the therapist's words, not the made ones

    @property
    def final(self) -> str:
        """As it stands in the finished text."""
        named = self.text.lower().startswith(self.line.lead.rstrip(": ").lower())
        return self.text if not self.text or named else self.line.lead + self.text


def written(lines: Iterable[Line], edits: Mapping[str, str]) -> tuple[Written, ...]:
    """Each line with what was written in its place, or as it was made."""
    return tuple(
        Written(line, edits[line.key], own=edits[line.key] != line.made)
        if line.key in edits
        else Written(line, line.made)
        for line in lines
    )


def in_order(lines: Iterable[Written], order: str) -> tuple[Written, ...]:
    """The lines by section, each section's in the order they were made."""
    by = ORDERS[order]
    return tuple(sorted(lines, key=lambda w: by.index(w.line.section)))


def as_text(lines: Iterable[Written], order: str) -> list[str]:
    """The final lines with their sections' headings; what is empty is left out."""
    found: list[str] = []
    last = ""
    for one in in_order(lines, order):
        if not one.text:
            continue
        if one.line.section != last:
            last = one.line.section
            found.append(f"{SECTIONS[last]}:")
        found.extend(one.final.splitlines())
    return found
