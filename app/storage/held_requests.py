"""What a person sent after their sign-in had ended, until they send it or let it go.

A browser without script would lose the form they had filled. Only the same person is
ever shown it, for a day, and only a few are kept: somebody with an old cookie could
otherwise fill the disk.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Final

from sqlalchemy import delete
from sqlmodel import Field, Session, col, select

from app.storage import audit
from app.storage.people import Person
from app.storage.tables import Numbered, check, length

LONGEST_HELD: Final = timedelta(hours=24)
MOST_HELD: Final = 5
LARGEST_HELD: Final = 64 * 1024
LONGEST_PATH: Final = 400


class HeldRequest(Numbered, table=True):
    """One form as it was sent: its path on this site and its body. Never changed."""

    __tablename__ = "held_request"
    __table_args__ = (
        check("path", f"length(path) BETWEEN 1 AND {LONGEST_PATH} AND path LIKE '/%'"),
        length("body", 0, LARGEST_HELD),
    )

    person_id: int = Field(foreign_key="person.id", index=True)
    path: str
    body: str
    created_at: datetime


def hold(
    session: Session, person: Person, *, path: str, body: str, now: datetime
) -> HeldRequest | None:
    """Keep a form for its person; the same one twice is kept once.

    None when as many wait as may: none of those is thrown away for a new one.
    """
    forget_old(session, now)
    waiting = held_of(session, person, now)
    for known in waiting:
        if (known.path, known.body) == (path, body):
            return known
    if len(waiting) >= MOST_HELD:
        return None
    held = HeldRequest(person_id=person.id, path=path, body=body, created_at=now)
    session.add(held)
    session.flush()
    # Nobody was signed in when it came: the program kept it.
    audit.deed(session, "held_request", held, by=None, now=now)
    return held


def held_of(session: Session, person: Person, now: datetime) -> Sequence[HeldRequest]:
    """What waits for this person and nobody else, oldest first."""
    wanted = select(HeldRequest).where(
        HeldRequest.person_id == person.id,
        col(HeldRequest.created_at) > now - LONGEST_HELD,
    )
    return session.exec(wanted.order_by(col(HeldRequest.id))).all()


def let_go(
    session: Session, person: Person, held_id: int, *, did: str, now: datetime
) -> None:
    """Take one off the list because it was sent or discarded: `did` says which.

    One that is gone, or another person's, is left as it is: the second of two taps.
    """
    held = session.get(HeldRequest, held_id)
    if held is not None and held.person_id == person.id:
        session.delete(held)
        session.flush()
        audit.deed(session, did, held, by=person.id, now=now)


def forget_old(session: Session, now: datetime) -> None:
    session.exec(
        delete(HeldRequest).where(col(HeldRequest.created_at) <= now - LONGEST_HELD)
    )
