"""People who use a site, their passphrases, and their sign-ins.

A sign-in is a row that can be ended, known by a token that only the browser holds.
Nothing here tells an unknown handle from a wrong passphrase, not even by its time.
"""

import hashlib
import secrets
from collections.abc import Sequence
from datetime import datetime, timedelta
from functools import cache
from typing import Any, Final

from argon2 import PasswordHasher, Type
from argon2.exceptions import InvalidHashError, VerificationError
from sqlalchemy import bindparam
from sqlmodel import Field, Session, col, select, update

from app.access import ROLES, Actor
from app.passphrases import plain
from app.storage import audit
from app.storage.errors import HandleTaken
from app.storage.tables import Numbered, check, hexadecimal, length, one_of

LONGEST_SIGN_IN: Final = timedelta(hours=12)
#: Stored for who has not chosen a passphrase yet: nothing typed ever matches it.
UNSET: Final = "!"
#: How long after its last use an ended sign-in still tells whose it was.
LONGEST_REMEMBERED: Final = timedelta(days=7)
SEEN_EVERY: Final = timedelta(minutes=1)
#: 19 MiB and two passes: a whole ward signing in at once still fits a small machine.
_hasher: Final = PasswordHasher(
    time_cost=2, memory_cost=19 * 1024, parallelism=1, type=Type.ID
)


class Person(Numbered, table=True):
    """Someone who signs in. Never deleted: `active` ends it. Written by this module."""

    __tablename__ = "person"
    __table_args__ = (
        one_of("role", ROLES),
        length("name", 1, 80),
        check("handle", "length(handle) BETWEEN 1 AND 60 AND handle = lower(handle)"),
        check("version", "version >= 1"),
    )

    handle: str = Field(unique=True)
    name: str
    role: str
    passphrase_hash: str
    is_demo: bool = False
    active: bool = True
    created_at: datetime
    last_seen_at: datetime | None = None
    version: int = 1


class SignIn(Numbered, table=True):
    """One browser signed in. Only a hash of its token is kept."""

    __tablename__ = "sign_in"
    __table_args__ = (hexadecimal("token_hash", 64),)

    token_hash: str = Field(unique=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    started_at: datetime
    last_seen_at: datetime
    ended_at: datetime | None = None
    locked_at: datetime | None = None
    #: The phone it was made on, where that is known: it ends with the phone.
    device_id: int | None = Field(default=None, foreign_key="device.id", index=True)


def actor(person: Person) -> Actor:
    return Actor(role=person.role, is_demo=person.is_demo, id=person.id)


def any_people(session: Session) -> bool:
    return session.exec(select(Person.id).limit(1)).first() is not None


def add_person(
    session: Session,
    *,
    handle: str,
    name: str,
    role: str,
    passphrase_hash: str,
    is_demo: bool = False,
    by: Person | None = None,
    now: datetime,
) -> Person:
    """Add someone who may sign in; hash before opening the writing session.

    Raise HandleTaken when there is such a handle, in small letters or large.
    """
    if _by_handle(session, handle) is not None:
        raise HandleTaken
    person = Person(
        handle=_plain(handle),
        name=name.strip(),
        role=role,
        passphrase_hash=passphrase_hash,
        is_demo=is_demo,
        created_at=now,
    )
    session.add(person)
    session.flush()
    audit.deed(session, "added_person", person, by=by.id if by else None, now=now)
    return person


def _plain(handle: str) -> str:
    """Phones write the first letter large, so case does not count."""
    return handle.strip().lower()


def _by_handle(session: Session, handle: str) -> Person | None:
    return session.exec(select(Person).where(Person.handle == _plain(handle))).first()


def hash_passphrase(text: str) -> str:
    """Slow and heavy on purpose: call it before the write transaction."""
    return _hasher.hash(plain(text))


@cache
def _nobodys_hash() -> str:
    return hash_passphrase(secrets.token_urlsafe(32))


def check_passphrase(session: Session, handle: str, passphrase: str) -> Person | None:
    """Who this is, or None; takes the same time whether or not the handle exists."""
    nobodys = _nobodys_hash()
    person = _by_handle(session, handle)
    chosen = person is not None and person.passphrase_hash != UNSET
    kept = person.passphrase_hash if person and chosen else nobodys
    same = matches(kept, passphrase)
    return person if person and person.active and same else None


def matches(kept: str, passphrase: str) -> bool:
    try:
        return _hasher.verify(kept, plain(passphrase))
    except (VerificationError, InvalidHashError):
        return False


def start_sign_in(
    session: Session, person: Person, now: datetime, *, device_id: int | None = None
) -> str:
    """A new sign-in's token, which is nowhere kept as it is."""
    token = secrets.token_urlsafe(32)
    sign_in = SignIn(
        token_hash=_hash_of(token),
        person_id=person.id,
        started_at=now,
        last_seen_at=now,
        device_id=device_id,
    )
    session.add(sign_in)
    session.flush()
    _person_seen(session, person.id, now)
    audit.deed(session, "signed_in", sign_in, by=person.id, now=now)
    return token


def _hash_of(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def _person_seen(session: Session, person_id: int, now: datetime) -> None:
    session.exec(
        update(Person).where(col(Person.id) == person_id).values(last_seen_at=now)
    )


def signed_in(session: Session, token: str, now: datetime) -> Person | None:
    """Who a token belongs to, unless it ended, is 12 hours old, or they left."""
    found = live_sign_in(session, token, now)
    return found[0] if found else None


#: Asked by every request, so it is put together once.
_LIVE: Final[Any] = (
    select(Person, SignIn)
    .join(SignIn, col(SignIn.person_id) == col(Person.id))
    .where(
        col(SignIn.token_hash) == bindparam("token"),
        col(SignIn.ended_at).is_(None),
        col(SignIn.started_at) > bindparam("since"),
        col(Person.active),
    )
)


def live_sign_in(
    session: Session, token: str, now: datetime
) -> tuple[Person, SignIn] | None:
    """The same with the sign-in itself, which may be locked."""
    given = {"token": _hash_of(token), "since": now - LONGEST_SIGN_IN}
    found: tuple[Person, SignIn] | None = session.exec(_LIVE, params=given).first()
    return found


def was_signed_in(session: Session, token: str, now: datetime) -> Person | None:
    """Whose sign-in a token was, though it may have ended; None when that is long ago.

    Good for keeping what they sent until they sign in again, and for nothing else.
    """
    wanted = (
        select(Person)
        .join(SignIn, col(SignIn.person_id) == col(Person.id))
        .where(
            SignIn.token_hash == _hash_of(token),
            SignIn.last_seen_at > now - LONGEST_REMEMBERED,
            col(Person.active),
        )
    )
    return session.exec(wanted).first()


def is_locked(sign_in: SignIn, now: datetime, idle: timedelta | None) -> bool:
    """Locked by hand, or unused for `idle`; None means that idleness never locks.

    Last-seen may be a minute old, so a minute is granted on top. A locked sign-in is
    not seen any more, so that it stays locked until it is unlocked. Of one seen well
    in the future, since a clock was set back, nobody knows for how long it lay unused.
    """
    if sign_in.locked_at is not None:
        return True
    unused = abs(now - sign_in.last_seen_at)
    return idle is not None and unused >= idle + SEEN_EVERY


def lock(session: Session, token: str, now: datetime) -> None:
    """Lock a sign-in: it shows nothing until its person's passphrase is given."""
    sign_in = _open_sign_in(session, token)
    if sign_in is not None and sign_in.locked_at is None:
        sign_in.locked_at = now
        session.flush()
        audit.deed(session, "locked", sign_in, by=sign_in.person_id, now=now)


def unlock(session: Session, token: str, now: datetime) -> None:
    """Unlock it; check the passphrase first, before the writing session."""
    sign_in = _open_sign_in(session, token)
    if sign_in is not None:
        sign_in.locked_at, sign_in.last_seen_at = None, now
        session.flush()
        audit.deed(session, "unlocked", sign_in, by=sign_in.person_id, now=now)


def _open_sign_in(session: Session, token: str) -> SignIn | None:
    wanted = select(SignIn).where(
        SignIn.token_hash == _hash_of(token), col(SignIn.ended_at).is_(None)
    )
    return session.exec(wanted).first()


def seen(session: Session, token: str, now: datetime) -> None:
    """Write that this sign-in was used, at most once a minute."""
    sign_in = _open_sign_in(session, token)
    if sign_in is not None and abs(now - sign_in.last_seen_at) >= SEEN_EVERY:
        sign_in.last_seen_at = now
        session.flush()
        _person_seen(session, sign_in.person_id, now)


def is_on(session: Session, token: str, device_id: int) -> None:
    """This sign-in is on that phone, and ends with it."""
    sign_in = _open_sign_in(session, token)
    if sign_in is not None:
        sign_in.device_id = device_id
        session.flush()


def end_sign_in(session: Session, token: str, now: datetime) -> None:
    """End a sign-in; one that is unknown or has ended stays as it is."""
    sign_in = _open_sign_in(session, token)
    if sign_in is not None:
        sign_in.ended_at = now
        session.flush()
        audit.deed(session, "signed_out", sign_in, by=sign_in.person_id, now=now)


def sign_ins_of(session: Session, person: Person, now: datetime) -> Sequence[SignIn]:
    """Where somebody is signed in now, the latest used first."""
    wanted = select(SignIn).where(
        SignIn.person_id == person.id,
        col(SignIn.ended_at).is_(None),
        SignIn.started_at > now - LONGEST_SIGN_IN,
    )
    return session.exec(wanted.order_by(col(SignIn.last_seen_at).desc())).all()


def end_sign_ins(
    session: Session,
    person: Person,
    *,
    by: Person | None,
    now: datetime,
    only: int | None = None,
    on_device: int | None = None,
    but: str = "",
) -> int:
    """End somebody's sign-ins, or only one, those on a phone, or all but the token's.

    Returns how many ended.
    """
    ended = 0
    kept = _hash_of(but)
    for sign_in in sign_ins_of(session, person, now):
        if only not in (None, sign_in.id) or sign_in.token_hash == kept:
            continue
        if on_device not in (None, sign_in.device_id):
            continue
        sign_in.ended_at = now
        session.flush()
        audit.deed(session, "ended_sign_in", sign_in, by=by.id if by else None, now=now)
        ended += 1
    return ended
