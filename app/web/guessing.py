"""A secret typed here is checked only when no wait is due, and a wrong one is counted.

The wait is asked for before the hashing, which costs a core on purpose; the wrong guess
is written in a transaction of its own, so that it stays when the deed is refused. An
empty field is no guess: it is neither hashed nor counted.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from fastapi import Request

from app.storage import people, waits
from app.storage.database import read_session, write_session
from app.storage.people import Person
from app.storage.wrong_guesses import Secret, note_wrong
from app.web.deps import Site, site_of, token_of

_PASSPHRASE: Final[Secret] = "passphrase"


class MustWait(Exception):
    """Too many wrong guesses: `sentence` says how long."""

    def __init__(self, left: timedelta, *, shared: bool) -> None:
        seconds = max(1, -(-left // timedelta(seconds=1)))
        minutes = -(-seconds // 60)
        wait = f"Wait {seconds} seconds" if seconds < 90 else f"Wait {minutes} minutes"
        self.sentence = (
            f"Too many wrong tries from this network. {wait}, then try again."
            if shared
            else f"Too many wrong tries. {wait}, then try again. Nobody else waits."
        )
        super().__init__(self.sentence)


@dataclass(frozen=True, slots=True)
class Guess:
    """What a wrong secret is held against: one's own key, and those of others too."""

    own: waits.Key
    shared: tuple[waits.Key, ...] = ()

    @property
    def keys(self) -> tuple[waits.Key, ...]:
        return self.own, *self.shared


def at_sign_in(request: Request, handle: str) -> Guess:
    """Somebody at the door: this handle from this address."""
    host = request.client.host if request.client else ""
    return Guess(waits.account(handle), (waits.address(host),))


def at_link(request: Request) -> Guess:
    """Somebody with a link, right or guessed: only where they ask from is known."""
    host = request.client.host if request.client else ""
    return Guess(waits.address(host))


def when_signed_in(request: Request) -> Guess:
    """This browser alone, so that guesses elsewhere never stop who is at a bedside."""
    return Guess(waits.open_page(token_of(request) or ""))


def must_not_wait(site: Site, tried: Guess, now: datetime) -> None:
    """Raise MustWait while a wait is due."""
    with read_session(site.engine) as session:
        left = {key: waits.left(session, key, now) for key in tried.keys}
        ahead = waits.is_ahead(session, tried.keys, now)
    if ahead:
        with write_session(site.engine) as session:
            waits.begin_again(session, tried.keys, now)
    longest = max(tried.keys, key=lambda key: left[key])
    if left[longest] > timedelta(0):
        raise MustWait(left[longest], shared=longest.shared)


def count(
    site: Site,
    tried: Guess,
    *,
    right: bool,
    now: datetime,
    at: tuple[str, Secret] | None = None,
) -> None:
    """Write what came of it; a right guess with nothing to forget writes nothing.

    `at` is whose handle was tried and with what: wrong ones stand in the audit trail.
    """
    if right and not _counted(site, tried):
        return
    with write_session(site.engine) as session:
        if right:
            waits.right(session, tried.own)
        else:
            waits.wrong(session, tried.keys, now)
            if at is not None:
                note_wrong(session, *at, now)
        waits.forget_old(session, now)


def _counted(site: Site, tried: Guess) -> bool:
    with read_session(site.engine) as session:
        return waits.is_counted(session, tried.own)


def whose(
    request: Request, tried: Guess, handle: str, passphrase: str, now: datetime
) -> Person | None:
    """The person with this handle and passphrase; raise MustWait."""
    if not passphrase:
        return None
    site = site_of(request)
    must_not_wait(site, tried, now)
    with read_session(site.engine) as session:
        person = people.check_passphrase(session, handle, passphrase)
        if person is not None:
            session.expunge(person)
    right, at = person is not None, (handle, _PASSPHRASE)
    count(site, tried, right=right, now=now, at=at)
    return person
