"""Who did what to which row and when: a chain in which any later change shows.

Storage functions append in the deed's own transaction. Entries hold ids and plain
words, never a person's text. Each is hashed over itself and the one before, and the
head remembers the last, so that a cut-off end shows too. Someone who rewrites the whole
chain and its head is not found out by this.
"""

import hashlib
import json
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from sqlalchemy import Index
from sqlmodel import Field, Session, col, select

from app.storage.errors import NotSound
from app.storage.tables import Numbered, Table, check, hexadecimal, word

HEAD: Final = 1
#: What the first entry follows; the first migration writes it into the head.
START: Final = "0" * 64
#: How many entries are held in memory while the chain is read.
AT_A_TIME: Final = 1000


class AuditEntry(Table, table=True):
    """One deed. Written by `append` and `deeds`, and by nothing else."""

    __tablename__ = "audit_entry"
    __table_args__ = (
        word("deed"),
        word("subject"),
        hexadecimal("previous_hash", 64),
        hexadecimal("hash", 64),
        # One for each way the trail is read: newest first, and by what is asked for.
        Index(None, "at", "id"),
        Index(None, "person_id", "at", "id"),
        Index(None, "deed", "at", "id"),
        Index(None, "subject", "at", "id"),
    )

    id: int = Field(primary_key=True, sa_column_kwargs={"autoincrement": False})
    at: datetime
    person_id: int | None = Field(default=None, foreign_key="person.id")
    deed: str
    subject: str
    subject_id: int
    previous_hash: str
    hash: str


class AuditHead(Table, table=True):
    """The one row that every append locks: the last entry's id and hash."""

    __tablename__ = "audit_head"
    __table_args__ = (check("one_row", f"id = {HEAD}"), hexadecimal("hash", 64))

    id: int = Field(default=HEAD, primary_key=True)
    last_id: int
    hash: str


def deed(
    session: Session, did: str, row: Numbered, *, by: int | None, now: datetime
) -> None:
    """Append what a person did to a row, after the row was flushed."""
    deeds(session, did, [row], by=by, now=now)


def deeds(
    session: Session,
    did: str,
    rows: Sequence[Numbered],
    *,
    by: int | None,
    now: datetime,
) -> None:
    """Append that a person did the same to many rows, an entry for each, in order."""
    subjects = [(str(row.__tablename__), row.id) for row in rows]
    _append(session, by, did, subjects, now)


def append(
    session: Session,
    *,
    person_id: int | None,
    deed: str,
    subject: str,
    subject_id: int,
    now: datetime,
) -> None:
    """Add one entry. `person_id` is None when the program itself did it."""
    _append(session, person_id, deed, [(subject, subject_id)], now)


def _append(
    session: Session,
    person_id: int | None,
    deed: str,
    subjects: Sequence[tuple[str, int]],
    now: datetime,
) -> None:
    """The only place where entries are made: the head is locked once for all."""
    head = _locked_head(session)
    for subject, subject_id in subjects:
        entry = AuditEntry(
            id=head.last_id + 1,
            at=now.astimezone(UTC),
            person_id=person_id,
            deed=deed,
            subject=subject,
            subject_id=subject_id,
            previous_hash=head.hash,
            hash="",
        )
        entry.hash = _hash_of(entry)
        head.last_id, head.hash = entry.id, entry.hash
        session.add(entry)
    session.flush()


def _locked_head(session: Session) -> AuditHead:
    wanted = select(AuditHead).where(AuditHead.id == HEAD).with_for_update()
    # What an identity map remembers may be older than the lock.
    head = session.exec(wanted.execution_options(populate_existing=True)).first()
    if head is None:
        raise NotSound("The audit trail has lost its head. Restore a backup.")
    return head


def _hash_of(entry: AuditEntry) -> str:
    told = [
        entry.previous_hash,
        entry.id,
        entry.at.isoformat(timespec="microseconds"),
        entry.person_id,
        entry.deed,
        entry.subject,
        entry.subject_id,
    ]
    return hashlib.sha256(json.dumps(told).encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class Link:
    """How far a chain was read: the entry it is sound up to, and that entry's hash."""

    id: int = 0
    hash: str = START


@dataclass(frozen=True, slots=True)
class Followed:
    """What came of reading on. `broken` is the first entry not as it was written."""

    upto: Link
    broken: int | None


def head_of(session: Session) -> AuditHead:
    return session.exec(select(AuditHead)).one()


def in_silence(_done: int, _of: int) -> None:
    """The progress of a reading that nobody watches."""


def verify(
    session: Session, progress: Callable[[int, int], None] = in_silence
) -> int | None:
    """The id of the first entry that is not as it was written, None when all are.

    A missing entry is told by the id of the one after it; a missing end by the id of
    the first entry that is gone. `progress(done, all)` after each thousand.
    """
    last, head = Link(), head_of(session)
    while True:
        read = follow(session, last, AT_A_TIME)
        progress(read.upto.id, head.last_id)
        if read.broken is not None or read.upto.id - last.id < AT_A_TIME:
            return read.broken
        last = read.upto


def follow(session: Session, last: Link, most: int) -> Followed:
    """Read at most so many entries on from a link that was sound."""
    wanted = select(AuditEntry).where(AuditEntry.id > last.id)
    in_order = wanted.order_by(col(AuditEntry.id)).limit(most)
    found = session.exec(in_order.execution_options(yield_per=AT_A_TIME))
    start = last.id
    # Closed even when left early: a PostgreSQL cursor would stay open on its server.
    with closing(found) as entries:
        for entry in entries:
            follows = entry.id == last.id + 1 and entry.previous_hash == last.hash
            if not follows or entry.hash != _hash_of(entry):
                return Followed(last, entry.id)
            last = Link(entry.id, entry.hash)
    ended = last.id - start < most
    return Followed(last, _amiss_at_end(session, last) if ended else None)


def _amiss_at_end(session: Session, last: Link) -> int | None:
    """Whether the head remembers another end than the one that is there."""
    head = head_of(session)
    if last.id != head.last_id:
        return min(last.id, head.last_id) + 1
    return None if last.hash == head.hash else last.id
