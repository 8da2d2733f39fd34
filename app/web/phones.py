"""What a phone is called until its person names it, and how phones are listed."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.storage.devices import LONGEST_NAME, devices_of, last_seen
from app.storage.people import Person
from app.web.dates import moment_words

#: What a browser says of itself, in the order in which it tells: the first that is in.
#: A tablet may call itself a Mac, which its browser leaves nobody to find out.
PLATFORMS: Final = (
    (("iPhone",), "iPhone"),
    (("iPad",), "iPad"),
    (("Android", "Mobile"), "Android phone"),
    (("Android",), "Android tablet"),
    (("CrOS",), "Chromebook"),
    (("Windows",), "Windows computer"),
    (("Macintosh",), "Mac or iPad"),
    (("Linux",), "Linux computer"),
)
UNNAMED: Final = "Phone"


@dataclass(frozen=True, slots=True)
class Phone:
    """One phone on a list."""

    id: int
    name: str
    since: str
    used: str
    has_pin: bool
    here: bool


def called(user_agent: str, taken: Collection[str] = ()) -> str:
    """In plain words, numbered when its person has one of that name already.

    >>> called("Mozilla/5.0 (Linux; Android 15; K) Mobile", {"Android phone"})
    'Android phone 2'
    """
    name = next((n for has, n in PLATFORMS if all(h in user_agent for h in has)), "")
    name, number = name or UNNAMED, 2
    if name not in taken:
        return name
    while f"{name} {number}" in taken:
        number += 1
    return f"{name} {number}"


def named(typed: str, otherwise: str) -> str:
    """As typed, in one line and not too long; else what it is called."""
    return " ".join(typed.split())[:LONGEST_NAME].strip() or otherwise


def names_of(session: Session, person: Person) -> set[str]:
    return {device.name or UNNAMED for device in devices_of(session, person)}


def phones_of(
    session: Session, person: Person, zone: ZoneInfo, here: int | None = None
) -> Sequence[Phone]:
    """Somebody's phones, the earliest paired first."""
    seen = last_seen(session, person)
    listed = []
    for device in devices_of(session, person):
        times = [t for t in (device.last_used_at, seen.get(device.id)) if t]
        used = moment_words(max(times), zone) if times else "never"
        since = moment_words(device.made_at, zone)
        listed.append(
            Phone(
                device.id, device.name or UNNAMED, since, used, device.has_pin,
                device.id == here,
            )
        )  # fmt: skip
    return listed
