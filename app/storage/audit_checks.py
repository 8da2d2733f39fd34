"""How far the audit chain was last checked, a piece at a time.

A long chain takes minutes to read, so each asking reads on from where the last one
stopped. What is kept here says only what was found; the chain itself is never changed.
"""

import time
from datetime import datetime
from typing import Final

from sqlmodel import Field, Session

from app.storage.audit import AT_A_TIME, START, Followed, Link, follow
from app.storage.tables import Table, check, hexadecimal

ONLY: Final = 1


class AuditCheck(Table, table=True):
    """The one row: sound up to `upto_id`, and the entry found broken, if one was."""

    __tablename__ = "audit_check"
    __table_args__ = (
        check("one_row", f"id = {ONLY}"),
        check("upto_id", "upto_id >= 0"),
        check("broken_id", "broken_id >= 1"),
        hexadecimal("upto_hash", 64),
    )

    id: int = Field(default=ONLY, primary_key=True)
    upto_id: int
    upto_hash: str
    broken_id: int | None = None
    checked_at: datetime


def last_check(session: Session) -> AuditCheck | None:
    return session.get(AuditCheck, ONLY)


def read_on(session: Session, *, afresh: bool, seconds: float) -> Followed:
    """Follow the chain from where it was left, or from its start, for so long.

    It writes nothing, so that nobody waits for it: keep what it found with `keep`.
    """
    known = None if afresh else last_check(session)
    link = Link(known.upto_id, known.upto_hash) if known else Link(0, START)
    until = time.monotonic() + seconds
    while True:
        read = follow(session, link, AT_A_TIME)
        done = read.broken is not None or read.upto.id - link.id < AT_A_TIME
        if done or time.monotonic() > until:
            return read
        link = read.upto


def keep(session: Session, read: Followed, now: datetime) -> None:
    """Write down what was found."""
    row = last_check(session) or AuditCheck(upto_id=0, upto_hash=START, checked_at=now)
    row.upto_id, row.upto_hash = read.upto.id, read.upto.hash
    row.broken_id, row.checked_at = read.broken, now
    session.add(row)
    session.flush()
