"""What two people said differently of one thing, and who said it first."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.storage.people import Person
from app.web.dates import moment_words


@dataclass(frozen=True, slots=True)
class Differs:
    """One thing that two people said differently."""

    what: str
    theirs: str
    yours: str


@dataclass(frozen=True, slots=True)
class Compare:
    """Who was quicker, when, and what differs."""

    by: str
    at: str
    differs: tuple[Differs, ...]


def compared(
    session: Session,
    by_id: int | None,
    at: datetime | None,
    theirs: Mapping[str, str],
    yours: Mapping[str, str],
    zone: ZoneInfo,
) -> Compare:
    """Both versions in words, each by what it is called on the form."""
    by = session.get(Person, by_id) if by_id else None
    differs = tuple(
        Differs(what, theirs.get(what) or "nothing", yours.get(what) or "nothing")
        for what in dict.fromkeys((*theirs, *yours))
        if theirs.get(what, "") != yours.get(what, "")
    )
    name = by.name if by else "somebody"
    return Compare(name, moment_words(at, zone) if at else "", differs)
