"""Growing waits after wrong guesses, for each account, open sign-in and address.

Kept in the database, so that a restart forgets none. An account's key is made from the
handle as typed, whether or not anybody has it, so that a wait tells nothing. Who is
signed in already is counted by that sign-in: guesses at a handle from elsewhere never
keep its person out of the page before them. An address is shared by a whole ward, so it
may try more often, waits a minute at most, and is forgiven one guess each minute.
"""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import IPv6Address, ip_address, ip_network
from typing import Final

from sqlmodel import Field, Session, col, select

from app.storage.tables import Numbered, check, hexadecimal

SHORTEST: Final = timedelta(seconds=5)
LONGEST: Final = timedelta(minutes=15)
LONGEST_SHARED: Final = timedelta(minutes=1)
FORGIVEN_EVERY: Final = timedelta(minutes=1)
#: After a day without a wrong guess it starts anew.
FORGOTTEN: Final = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Key:
    """What is counted, and how many wrong guesses cost nothing."""

    hash: str
    free: int = 5
    shared: bool = False


class GuessWait(Numbered, table=True):
    """Wrong guesses at one key, and when the last one was."""

    __tablename__ = "guess_wait"
    __table_args__ = (hexadecimal("key_hash", 64), check("wrong", "wrong >= 1"))

    key_hash: str = Field(unique=True)
    wrong: int
    last_at: datetime


def account(handle: str) -> Key:
    return Key(_hash_of("account", handle.strip().lower()))


def open_page(token: str) -> Key:
    """One browser that is signed in, by its token."""
    return Key(_hash_of("sign-in", token))


def address(host: str) -> Key:
    return Key(_hash_of("address", _network(host)), free=20, shared=True)


def _network(host: str) -> str:
    """One household has a whole range of long addresses, and counts once."""
    try:
        found = ip_address(host.partition("%")[0])
    except ValueError:
        return host
    if not isinstance(found, IPv6Address):
        return str(found)
    short = found.ipv4_mapped
    return str(short or ip_network((found, 64), strict=False))


def _hash_of(kind: str, text: str) -> str:
    return hashlib.sha256(f"{kind}:{text}".encode()).hexdigest()


def wait_after(wrong: int, key: Key) -> timedelta:
    """Nothing for the first, then 5 s, doubled by each wrong guess up to the longest.

    >>> [wait_after(n, Key("")).seconds for n in (4, 5, 6, 7, 30)]
    [0, 5, 10, 20, 900]
    """
    if wrong < key.free:
        return timedelta(0)
    longest = LONGEST_SHARED if key.shared else LONGEST
    return min(longest, SHORTEST * (1 << min(wrong - key.free, 20)))


def left(session: Session, key: Key, now: datetime) -> timedelta:
    """How long still to wait before this may be tried again; nothing or less: now."""
    row = _row(session, key)
    if row is None or now - row.last_at >= FORGOTTEN:
        return timedelta(0)
    whole = wait_after(row.wrong, key)
    return min(whole, row.last_at + whole - now)


def is_ahead(session: Session, keys: Iterable[Key], now: datetime) -> bool:
    """Whether a guess stands in the future: the clock was set back since."""
    rows = (_row(session, key) for key in keys)
    return any(row is not None and row.last_at > now for row in rows)


def begin_again(session: Session, keys: Iterable[Key], now: datetime) -> None:
    """After a clock was set back a wait counts from now: never longer than its whole,
    and not over."""
    for key in keys:
        row = _row(session, key)
        if row is not None and row.last_at > now:
            row.last_at = now
            session.add(row)
    session.flush()


def wrong(session: Session, keys: Iterable[Key], now: datetime) -> None:
    """Count one wrong guess."""
    for key in keys:
        row = _row(session, key)
        if row is None:
            row = GuessWait(key_hash=key.hash, wrong=0, last_at=now)
        row.wrong, row.last_at = _still_counted(row, key, now) + 1, now
        session.add(row)
    session.flush()


def _still_counted(row: GuessWait, key: Key, now: datetime) -> int:
    quiet = now - row.last_at
    if quiet >= FORGOTTEN:
        return 0
    forgiven = quiet // FORGIVEN_EVERY if key.shared else 0
    return max(0, row.wrong - max(0, forgiven))


def right(session: Session, key: Key) -> None:
    """The right one was given: this starts anew. An address never does."""
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
