"""What was written in place of a note's lines, and what was added to a signed text.

Edits are only ever appended: the last one of a line stands, the earlier ones stay
readable with who wrote them. They are a draft; what is signed is in `review`.
"""

import hashlib
import json
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import Final

from sqlalchemy import Index, func
from sqlmodel import Field, Session, col, select
from sqlmodel.sql.expression import SelectOfScalar

from app.clinical.note import NOTE_KINDS, SECTIONS
from app.storage import audit
from app.storage.episodes import Visit
from app.storage.errors import NotAllowed
from app.storage.people import Person
from app.storage.prepared import prepared, rows_by
from app.storage.review import OF_CLOSED, VisitText, is_returned, texts_of
from app.storage.tables import Numbered, hexadecimal, length, one_of, uid

LONGEST_KEY: Final = 120
LONGEST_LINE: Final = 4000
LONGEST_REASON: Final = 200


class NoteEdit(Numbered, table=True):
    """One line as somebody wrote it, and the made text it stood in for.

    `text` is empty where the line was left out; `made` where it is their own.
    """

    __tablename__ = "note_edit"
    __table_args__ = (
        uid(),
        one_of("note", NOTE_KINDS),
        length("line_key", 1, LONGEST_KEY),
        one_of("section", SECTIONS),
        length("text", 0, LONGEST_LINE),
        Index("ix_note_edit_of", "visit_id", "note", "id"),
    )

    uid: str = Field(unique=True)
    visit_id: int = Field(foreign_key="visit.id")
    note: str
    line_key: str
    section: str
    text: str
    made: str
    edited_by: int = Field(foreign_key="person.id")
    edited_at: datetime


class Addendum(Numbered, table=True):
    """What was added to a text that no longer changes: why, by whom and when.

    `previous_hash` is the text's own for the first, then the one before's.
    """

    __tablename__ = "addendum"
    __table_args__ = (
        length("words", 1, LONGEST_LINE),
        length("reason", 1, LONGEST_REASON),
        hexadecimal("previous_hash", 64),
        hexadecimal("hash", 64),
    )

    text_id: int = Field(foreign_key="visit_text.id", index=True)
    words: str
    reason: str
    author_id: int = Field(foreign_key="person.id")
    written_at: datetime
    previous_hash: str
    hash: str


def edits_of(session: Session, visit: Visit, note: str) -> Sequence[NoteEdit]:
    """Every edit of one note, the oldest first; asked for as `texts_of` does."""
    return [edit for edit in _edits(session, visit.id) if edit.note == note]


_edits = rows_by(NoteEdit, "visit_id", "id")


def standing(edits: Iterable[NoteEdit]) -> dict[str, NoteEdit]:
    """The edit of each line that counts: its last."""
    return {edit.line_key: edit for edit in edits}


def is_open(session: Session, visit: Visit, note: str) -> bool:
    """Whether it can still be worded: nothing was handed in, or it was returned."""
    texts = texts_of(session, visit, note)
    return not texts or is_returned(session, texts[-1])


def notes_open(session: Session, visit: Visit) -> bool:
    """Whether none that tells of the closed visit was handed in or signed."""
    return all(is_open(session, visit, note) for note in OF_CLOSED)


def note_before(session: Session, visit: Visit, note: str) -> VisitText | None:
    """The last text of such a note on an earlier day of the episode."""
    return _before(session, visit.episode_id, visit.local_date, note).first()


@prepared
def _before(episode_id: int, day: date, note: str) -> SelectOfScalar[VisitText]:
    wanted = (
        select(VisitText)
        .join(Visit, col(Visit.id) == col(VisitText.visit_id))
        .where(
            Visit.episode_id == episode_id,
            Visit.local_date < day,
            func.coalesce(VisitText.note, "visit") == note,
        )
    )
    newest = wanted.order_by(col(Visit.local_date).desc(), col(VisitText.id).desc())
    return newest.limit(1)


def edit_line(
    session: Session,
    person: Person,
    visit: Visit,
    note: str,
    *,
    key: str,
    section: str,
    text: str,
    made: str,
    uid: str,
    now: datetime,
) -> NoteEdit:
    """Write a line in place of the made one; the same id again adds nothing."""
    known = session.exec(select(NoteEdit).where(NoteEdit.uid == uid)).first()
    if known is not None:
        return known
    if not is_open(session, visit, note):
        raise NotAllowed(
            "This note was signed or handed in and no longer changes. What you typed "
            "was not kept: write it as an addendum."
        )
    row = NoteEdit(
        uid=uid, visit_id=visit.id, note=note, line_key=key, section=section, text=text,
        made=made, edited_by=person.id, edited_at=now,
    )  # fmt: skip
    session.add(row)
    session.flush()
    audit.deed(session, "edited_note", row, by=person.id, now=now)
    return row


def addendum_hash(added: Addendum) -> str:
    said = [
        added.text_id, added.words, added.reason, added.author_id,
        added.written_at.isoformat(), added.previous_hash,
    ]  # fmt: skip
    written = json.dumps(said, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(written.encode()).hexdigest()


def addenda_of(session: Session, text: VisitText) -> Sequence[Addendum]:
    wanted = select(Addendum).where(Addendum.text_id == text.id)
    return session.exec(wanted.order_by(col(Addendum.id))).all()


def add_to(
    session: Session,
    person: Person,
    text: VisitText,
    *,
    words: str,
    reason: str,
    now: datetime,
) -> Addendum:
    """Append to a text; the same words sent again at once are the same addendum."""
    before = addenda_of(session, text)
    last = before[-1] if before else None
    if last and (last.words, last.reason, last.author_id) == (
        words, reason, person.id,
    ):  # fmt: skip
        return last
    added = Addendum(
        text_id=text.id, words=words, reason=reason, author_id=person.id,
        written_at=now, previous_hash=last.hash if last else text.hash,
        hash=audit.START,
    )  # fmt: skip
    added.hash = addendum_hash(added)
    session.add(added)
    session.flush()
    audit.deed(session, "added_to_note", added, by=person.id, now=now)
    return added


def broken_addenda(session: Session) -> list[str]:
    """Addenda whose words or order no longer fit their hash: for `doctor`."""
    found = []
    ends: dict[int, str] = {}
    for added in session.exec(select(Addendum).order_by(col(Addendum.id))):
        text = session.get_one(VisitText, added.text_id)
        before = ends.get(text.id, text.hash)
        if added.hash != addendum_hash(added) or added.previous_hash != before:
            found.append(f"addendum {added.id}")
        ends[text.id] = added.hash
    return found
