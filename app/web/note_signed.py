"""A note that was signed or handed in, as it is read, printed and copied."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any, Final
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.clinical.days import full_day
from app.clinical.note import NOTE_KINDS, SECTIONS
from app.clinical.note_words import moment
from app.storage.episodes import Visit
from app.storage.notes import Addendum, addenda_of
from app.storage.people import Person
from app.storage.review import (
    PRESENCE,
    ReviewDecision,
    VisitText,
    decision_of,
    texts_of,
)
from app.web.deps import Site

#: What a student's text says of itself until a supervisor answered for it.
NOT_VALID: Final = "Student entry. Not valid until co-signed."


@dataclass(frozen=True, slots=True)
class Section:
    """One heading and the lines under it; a text of before has none."""

    heading: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Added:
    """An addendum as it is read."""

    words: str
    reason: str
    who: str


@dataclass(frozen=True, slots=True)
class SignedNote:
    """One text with who answers for it. `valid`: it may be copied and printed."""

    text: VisitText
    title: str
    visit_day: str
    sections: tuple[Section, ...]
    who: str
    written: str
    another_day: bool
    answered: str
    statement: str
    valid: bool
    added: tuple[Added, ...]

    @property
    def short_hash(self) -> str:
        return self.text.hash[:12]

    def plain(self, label: str) -> str:
        """The whole as plain text: the local label and no other name of the person."""
        lines = [f"{self.title}. {label}.", f"Visit of {self.visit_day}.", ""]
        for section in self.sections:
            lines += [f"{section.heading}:"] if section.heading else []
            lines += [*section.lines, ""]
        late = ", another day than the visit" if self.another_day else ""
        lines.append(f"Signed by {self.who}, {self.written}{late}.")
        if self.answered:
            lines.append(f"{self.answered}. {self.statement}".rstrip())
        for added in self.added:
            lines += ["", f"Addendum by {added.who}. Why: {added.reason}", added.words]
        return "\n".join(lines) + "\n"


def signed_note(
    session: Session, site: Site, visit: Visit, text: VisitText
) -> SignedNote:
    """The text as it stands, whatever edition of the program wrote it."""
    made = decision_of(session, text)
    return SignedNote(
        text=text,
        title=NOTE_KINDS[text.note or "visit"].capitalize(),
        visit_day=full_day(visit.local_date),
        sections=tuple(_sections(text)),
        who=_who(session, text.author_id),
        written=moment(text.written_at.astimezone(site.zone)),
        another_day=text.written_at.astimezone(site.zone).date() != visit.local_date,
        answered=_answered(session, made, site.zone) if made else "",
        statement=made.statement if made else "",
        valid=_valid(text, made),
        added=tuple(_added(session, a, site.zone) for a in addenda_of(session, text)),
    )


def earlier_notes(
    session: Session, site: Site, visit: Visit, note: str
) -> list[SignedNote]:
    """The texts that were returned and written anew, the oldest first."""
    texts: Sequence[VisitText] = texts_of(session, visit, note)
    return [signed_note(session, site, visit, text) for text in texts[:-1]]


def _sections(text: VisitText) -> Iterator[Section]:
    if text.parts is None:
        lines = [*text.lines]
        if text.own_words:
            lines.append(f"In their own words: {text.own_words}")
        yield Section("", tuple(lines))
        return
    said = [part for part in text.parts if part["text"]]
    for section, parts in groupby(said, _section_of):
        lines = [line for part in parts for line in part["text"].splitlines()]
        yield Section(SECTIONS[section], tuple(lines))


def _section_of(part: dict[str, Any]) -> str:
    return str(part["section"])


def _who(session: Session, person_id: int) -> str:
    person = session.get_one(Person, person_id)
    return f"{person.name}, {person.role}"


def _answered(session: Session, made: ReviewDecision, zone: ZoneInfo) -> str:
    said = made.decision.replace("_", "-").capitalize()
    who = _who(session, made.person_id)
    how = f"; {PRESENCE[made.presence]}" if made.presence else ""
    if made.minutes is not None:
        how += f", {made.minutes} min"
    return f"{said} by {who}, {moment(made.decided_at.astimezone(zone))}{how}"


def _valid(text: VisitText, made: ReviewDecision | None) -> bool:
    if text.kind == "signed":
        return made is None or made.decision != "returned"
    return made is not None and made.decision != "returned"


def _added(session: Session, row: Addendum, zone: ZoneInfo) -> Added:
    when = moment(row.written_at.astimezone(zone))
    return Added(row.words, row.reason, f"{_who(session, row.author_id)}, {when}")
