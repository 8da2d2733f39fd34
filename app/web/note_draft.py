"""A note while it is worded: its lines as they stand, and what is to be looked at."""

import hashlib
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from itertools import pairwise
from typing import Final
from uuid import uuid4

from sqlmodel import Session

from app.clinical.note import ORDERS, SECTIONS, Line, Written, written
from app.clinical.note_doubts import doubts
from app.clinical.note_numbers import NumberChange, changed
from app.storage.episodes import Episode, Visit
from app.storage.notes import NoteEdit, edits_of, note_before, standing
from app.storage.people import Person
from app.web.dates import moment_words
from app.web.deps import Site
from app.web.note_links import event_link
from app.web.note_makers import MAKERS

#: A line that somebody added; the rest of its key was made on the phone.
OWN: Final = re.compile(r"own-[0-9a-f]{32}")
LONGEST_LABEL: Final = 60
ONE_SITTING: Final = timedelta(minutes=10)
_UNITS: Final = "s|min|in|ft|cm|mm|m|m/s|mmHg|points?|steps?|stands?|reps?"


@dataclass(frozen=True, slots=True)
class Wording:
    """How a line read before: the words, who wrote them and when."""

    text: str
    who: str


@dataclass(frozen=True, slots=True)
class DraftLine:
    """One line as the page shows it. `was` tells the server which words were shown.

    `lost`: its event has gone from the record.
    """

    id: str
    line: Line
    text: str
    label: str
    was: str
    links: tuple[tuple[str, str], ...] = ()
    changes: tuple[NumberChange, ...] = ()
    doubts: tuple[str, ...] = ()
    by: str = ""
    before: tuple[Wording, ...] = ()
    lost: bool = False
    moved: bool = False  # the record says something else since it was worded
    error: str = ""

    @property
    def added(self) -> bool:
        """Somebody's own line, which no event made."""
        return OWN.fullmatch(self.line.key) is not None

    @property
    def left_out(self) -> bool:
        return bool(self.line.made and not self.text)

    @property
    def reworded(self) -> bool:
        return bool(self.line.made and self.text and self.text != self.line.made)

    @property
    def numbers_gone(self) -> list[str]:
        """Each number of the record that stands here no more, with its unit."""
        return [
            _with_unit(self.line.made, change.number)
            for change in self.changes
            if change.how == "gone"
        ]

    @property
    def open(self) -> bool:
        """Still asked for: a needed field that nobody filled in."""
        return self.line.needed and not self.text


@dataclass(frozen=True, slots=True)
class Draft:
    """A whole note. `written` is what would be signed as it stands."""

    note: str
    written: tuple[Written, ...]
    lines: Mapping[str, DraftLine]
    doubts: tuple[str, ...]
    order: tuple[str, ...]

    def of(self, section: str) -> list[DraftLine]:
        return [x for x in self.lines.values() if x.line.section == section]

    @property
    def sections(self) -> list[tuple[str, str, list[DraftLine]]]:
        """Key, heading and lines of each section, in the site's order."""
        return [(key, SECTIONS[key], self.of(key)) for key in self.order]

    @property
    def asked(self) -> list[DraftLine]:
        return [line for line in self.lines.values() if line.open]

    @property
    def doubtful(self) -> int:
        return len(self.doubts) + sum(len(x.doubts) for x in self.lines.values())


def digest(text: str) -> str:
    """Which words were shown, in few letters."""
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def line_id(key: str) -> str:
    """What the line is called in the page: a key may hold signs of a selector."""
    return f"line-{digest(key)[:10]}"


def draft(
    session: Session,
    site: Site,
    visit: Visit,
    note: str,
    typed: Mapping[str, str] | None = None,
    errors: Mapping[str, str] | None = None,
) -> Draft:
    """The note as it stands; `typed` is shown in place of what is kept."""
    made = MAKERS[note](session, site, visit)
    edits = edits_of(session, visit, note)
    stand = standing(edits)
    lines = (*made, *_further(made, stand))
    ready = written(lines, {key: edit.text for key, edit in stand.items()})
    last = note_before(session, visit, note)
    before = "\n".join(last.lines) if last else ""
    # What is missing is said by the empty field itself.
    found = [d for d in doubts(ready, before) if d.kind != "missing"]
    names = _Names(session, site)
    patient_id = session.get_one(Episode, visit.episode_id).patient_id
    by_key = {line.key for line in made}
    shown = {}
    for one in ready:
        line = _shown(one, [e for e in edits if e.line_key == one.line.key], names)
        told = tuple(d.says for d in found if d.key == one.line.key)
        links = dict.fromkeys(event_link(r, visit, patient_id) for r in one.line.refs)
        lost = one.line.key not in by_key and not line.added
        line = replace(line, doubts=told, links=tuple(links), lost=lost)
        shown[one.line.key] = _typed(line, typed or {}, errors or {})
    whole = tuple(d.says for d in found if d.key not in shown)
    return Draft(note, ready, shown, whole, ORDERS[site.settings.note_order])


def _further(made: Sequence[Line], stand: Mapping[str, NoteEdit]) -> list[Line]:
    """Lines of one's own, and words whose event has gone from the record since."""
    known = {line.key for line in made}
    return [
        Line(key, edit.section)  # type: ignore[arg-type]  # a CHECK holds the list
        for key, edit in stand.items()
        if key not in known and edit.text
    ]


def blank_lines(draft: Draft) -> dict[str, DraftLine]:
    """For each section an empty line of one's own, under an id that nobody else has."""
    return {section: cleared(f"own-{uuid4().hex}", section) for section in draft.order}


def cleared(key: str, section: str) -> DraftLine:
    """A line of one's own without words, which is no line of the note."""
    line = Line(key, section)  # type: ignore[arg-type]  # as the form was given it
    return DraftLine(line_id(key), line, "", "A line of your own", digest(""))


@dataclass(slots=True)
class _Names:
    """Who wrote something and when, in words."""

    session: Session
    site: Site

    def of(self, edit: NoteEdit) -> str:
        person = self.session.get_one(Person, edit.edited_by)
        return f"{person.name}, {moment_words(edit.edited_at, self.site.zone)}"


def _shown(one: Written, edits: Sequence[NoteEdit], names: _Names) -> DraftLine:
    line = one.line
    reworded = bool(line.made and one.text)
    return DraftLine(
        id=line_id(line.key),
        line=line,
        text=one.text,
        label=line.asks or _short(line.made) or "A line of your own",
        was=digest(one.text),
        changes=changed(line.made, one.text) if reworded else (),
        by=names.of(edits[-1]) if edits else "",
        moved=bool(edits and one.own and edits[-1].made != line.made),
        before=tuple(Wording(e.text, names.of(e)) for e in _left_behind(edits)),
    )


def _left_behind(edits: Sequence[NoteEdit]) -> Iterator[NoteEdit]:
    """The earlier wordings worth reading: not each tap of one person at one sitting."""
    for edit, after in pairwise(edits):
        soon = after.edited_at - edit.edited_at <= ONE_SITTING
        if edit.text and not (soon and edit.edited_by == after.edited_by):
            yield edit


def _with_unit(made: str, number: str) -> str:
    """`18.4 s` of `18.4 s (best of 2)`; a number without a unit stays alone."""
    found = re.search(rf"{re.escape(number)}(?:\s?%|\s({_UNITS})\b)?", made)
    return found[0] if found else number


def _short(text: str) -> str:
    return text if len(text) <= LONGEST_LABEL else f"{text[:LONGEST_LABEL].rstrip()} …"


def _typed(
    line: DraftLine, typed: Mapping[str, str], errors: Mapping[str, str]
) -> DraftLine:
    """What was typed and refused stays in its field."""
    key = line.line.key
    if key not in errors:
        return line
    return replace(line, text=typed.get(key, line.text), error=errors[key])
