"""Growing waits after wrong guesses, for each account and each address.

Kept in the database, so that a restart forgets none. An account's key is made from the
handle as typed, whether or not anybody has it, so that a wait tells nothing. Nobody
else waits: a ward behind one address gets many more tries than one account.
"""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from sqlmodel import Field, Session, col, select

from app.storage.tables import Numbered, check, hexadecimal

SHORTEST: Final = timedelta(seconds=5)
LONGEST: Final = timedelta(minutes=15)
#: After a day without a wrong guess it starts anew.
FORGOTTEN: Final = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Key:
    """What is counted, and how many wrong guesses cost nothing."""

    hash: str
    free: int


class GuessWait(Numbered, table=True):
    """Wrong guesses at one key, and when the last one was."""

    __tablename__ = "guess_wait"
    __table_args__ = (hexadecimal("key_hash", 64), check("wrong", "wrong >= 1"))

    key_hash: str = Field(unique=True)
    wrong: int
    last_at: datetime


def account(handle: str) -> Key:
    return Key(_hash_of("account", handle.strip().lower()), free=5)


def address(host: str) -> Key:
    return Key(_hash_of("address", host), free=50)


def _hash_of(kind: str, text: str) -> str:
    return hashlib.sha256(f"{kind}:{text}".encode()).hexdigest()


def wait_after(wrong: int, free: int) -> timedelta:
    """Nothing for the first, then 5 s, doubled by each wrong guess up to 15 minutes.

    >>> [wait_after(n, 5).seconds for n in (4, 5, 6, 7, 30)]
    [0, 5, 10, 20, 900]
    """
    if wrong < free:
        return timedelta(0)
    return min(LONGEST, SHORTEST * (1 << min(wrong - free, 20)))


def left(session: Session, keys: Iterable[Key], now: datetime) -> timedelta:
    """How long still to wait before any of these may be tried again.

    A clock set back neither lengthens a wait beyond its whole nor ends it.
    """
    longest = timedelta(0)
    for key in keys:
        row = _row(session, key)
        if row is None or now - row.last_at >= FORGOTTEN:
            continue
        whole = wait_after(row.wrong, key.free)
        longest = max(longest, min(whole, row.last_at + whole - now))
    return longest


def wrong(session: Session, keys: Iterable[Key], now: datetime) -> None:
    """Count one wrong guess."""
    for key in keys:
        row = _row(session, key)
        if row is None:
            row = GuessWait(key_hash=key.hash, wrong=0, last_at=now)
        elif now - row.last_at >= FORGOTTEN:
            row.wrong = 0
        row.wrong, row.last_at = row.wrong + 1, now
        session.add(row)
    session.flush()


def right(session: Session, key: Key) -> None:
    """The right one was given: the account starts anew. An address never does."""
    row = _row(session, key)
    if row is not None:
        session.delete(row)
        session.flush()


def forget_old(session: Session, now: datetime) -> None:
    """Drop what no longer counts, so that guesses at random leave nothing behind."""
    old = select(GuessWait).where(col(GuessWait.last_at) < now - FORGOTTEN).limit(100)
    for row in session.exec(old):
        session.delete(row)


def _row(session: Session, key: Key) -> GuessWait | None:
    return session.exec(
        select(GuessWait).where(GuessWait.key_hash == key.hash)
    ).one_or_none()


def is_counted(session: Session, key: Key) -> bool:
    """Whether anything is held against a key."""
    return _row(session, key) is not None
