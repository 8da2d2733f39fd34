"""A secret typed here is checked only when no wait is due, and a wrong one is counted.

The wait is asked for before the hashing, which costs a core on purpose; the wrong guess
is written in a transaction of its own, so that it stays when the deed is refused.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from fastapi import Request

from app.storage import people, waits
from app.storage.database import read_session, write_session
from app.storage.people import Person
from app.web.deps import Site, site_of


class MustWait(Exception):
    """Too many wrong guesses: `sentence` says how long."""

    def __init__(self, left: timedelta) -> None:
        seconds = max(1, -(-left // timedelta(seconds=1)))
        minutes = -(-seconds // 60)
        words = f"{seconds} seconds" if seconds < 90 else f"{minutes} minutes"
        self.seconds = seconds
        self.sentence = (
            f"Too many wrong tries. Wait {words}, then try again. Nobody else waits."
        )
        super().__init__(self.sentence)


@dataclass(frozen=True, slots=True)
class Guess:
    """Whose secret is tried, and from where."""

    account: waits.Key
    address: waits.Key

    @property
    def keys(self) -> tuple[waits.Key, waits.Key]:
        return self.account, self.address


def guess(request: Request, handle: str) -> Guess:
    host = request.client.host if request.client else ""
    return Guess(waits.account(handle), waits.address(host))


def must_not_wait(site: Site, tried: Guess, now: datetime) -> None:
    """Raise MustWait while a wait is due."""
    with read_session(site.engine) as session:
        left = waits.left(session, tried.keys, now)
    if left > timedelta(0):
        raise MustWait(left)


def count(site: Site, tried: Guess, *, right: bool, now: datetime) -> None:
    """Write what came of it; a right guess with nothing to forget writes nothing."""
    if right and not _counted(site, tried):
        return
    with write_session(site.engine) as session:
        if right:
            waits.right(session, tried.account)
        else:
            waits.wrong(session, tried.keys, now)
        waits.forget_old(session, now)


def _counted(site: Site, tried: Guess) -> bool:
    with read_session(site.engine) as session:
        return waits.is_counted(session, tried.account)


def whose(
    request: Request, handle: str, passphrase: str, now: datetime
) -> Person | None:
    """The person with this handle and passphrase; raise MustWait."""
    site, tried = site_of(request), guess(request, handle)
    must_not_wait(site, tried, now)
    with read_session(site.engine) as session:
        person = people.check_passphrase(session, handle, passphrase)
        if person is not None:
            session.expunge(person)
    count(site, tried, right=person is not None, now=now)
    return person
