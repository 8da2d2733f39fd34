"""Links that work once: to set a site up, to choose a passphrase, to pair a phone.

Only a hash of the token is kept; the link itself is shown once, to who asked for it.
A set-up link is void as soon as there is anybody, however they came to be added. A link
that pairs a phone lets it in at once, so it is good for minutes only.
"""

import hashlib
import secrets
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Final, Literal

from sqlmodel import Field, Session, col, select

from app.storage import audit
from app.storage.errors import NotFound
from app.storage.people import Person, any_people
from app.storage.tables import Numbered, check, hexadecimal, one_of

Purpose = Literal["setup", "passphrase", "pair"]
PURPOSES: Final = ("setup", "passphrase", "pair")
LASTS: Final[Mapping[str, timedelta]] = {
    "setup": timedelta(hours=24),
    "passphrase": timedelta(hours=24),
    "pair": timedelta(minutes=10),
}
#: Digits and letters that nobody mistakes for one another when typing from a screen.
LETTERS: Final = "0123456789abcdefghjkmnpqrstvwxyz"
#: 100 bits for a day. What pairs a phone lives ten minutes and may have to be typed: 80
#: bits, so that with a host of 25 letters the address has 60 characters.
TOKEN_LENGTHS: Final[Mapping[Purpose, int]] = {
    "setup": 20,
    "passphrase": 20,
    "pair": 16,
}


class LinkUsed(NotFound):
    """Used, old, or never given out: the three look the same."""

    sentence = (
        "It has been used, is more than a day old, or was replaced by a newer one."
    )
    next = "Ask for a new one where it came from."


class LinkUnknown(LinkUsed):
    """Never given out: somebody guesses, or mistyped. Told like the others."""


class OneTimeLink(Numbered, table=True):
    """A link given out. `person_id`: whose passphrase it sets; a set-up has nobody."""

    __tablename__ = "one_time_link"
    __table_args__ = (
        hexadecimal("token_hash", 64),
        one_of("purpose", PURPOSES),
        check("person", "(person_id IS NULL) = (purpose = 'setup')"),
    )

    token_hash: str = Field(unique=True)
    purpose: str
    person_id: int | None = Field(default=None, foreign_key="person.id", index=True)
    made_at: datetime
    made_by: int | None = Field(default=None, foreign_key="person.id")
    ended_at: datetime | None = None


def make_link(
    session: Session,
    purpose: Purpose,
    *,
    person: Person | None = None,
    by: Person | None = None,
    now: datetime,
) -> str:
    """A new link's token; an earlier one for the same purpose and person ends."""
    person_id = person.id if person else None
    for link in _open_links(session, purpose, person_id):
        link.ended_at = now
    token = "".join(secrets.choice(LETTERS) for _ in range(TOKEN_LENGTHS[purpose]))
    link = OneTimeLink(
        token_hash=_hash_of(token),
        purpose=purpose,
        person_id=person_id,
        made_at=now,
        made_by=by.id if by else None,
    )
    session.add(link)
    session.flush()
    did = "made_pairing_link" if purpose == "pair" else "made_link"
    audit.deed(session, did, link, by=link.made_by, now=now)
    return token


def _hash_of(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def _open_links(
    session: Session, purpose: str, person_id: int | None
) -> list[OneTimeLink]:
    wanted = select(OneTimeLink).where(
        OneTimeLink.purpose == purpose,
        OneTimeLink.person_id == person_id,
        col(OneTimeLink.ended_at).is_(None),
    )
    return list(session.exec(wanted))


def open_link(session: Session, token: str, now: datetime) -> OneTimeLink:
    """The link, if it may still be used; LinkUsed when it is used, old or unknown."""
    link = session.exec(
        select(OneTimeLink).where(OneTimeLink.token_hash == _hash_of(token))
    ).one_or_none()
    if link is None:
        raise LinkUnknown
    if link.ended_at is not None:
        raise LinkUsed
    if not timedelta(0) <= now - link.made_at < LASTS[link.purpose]:
        raise LinkUsed
    if link.purpose == "setup" and any_people(session):
        raise LinkUsed
    return link


def use_link(session: Session, link: OneTimeLink, now: datetime) -> None:
    link.ended_at = now
    session.add(link)
    session.flush()
    audit.deed(session, "used_link", link, by=link.person_id, now=now)


def end_links(
    session: Session,
    person: Person,
    now: datetime,
    purposes: Sequence[Purpose] = ("passphrase", "pair"),
) -> None:
    """Whatever was given out for somebody no longer works."""
    for purpose in purposes:
        for link in _open_links(session, purpose, person.id):
            link.ended_at = now
    session.flush()
