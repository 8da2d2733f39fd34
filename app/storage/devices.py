"""A PIN that opens a locked page again on one phone, and nothing else.

It needs the phone's own key, which only its cookie holds, and a sign-in that is locked,
not ended. A few wrong ones and it is forgotten: then the passphrase is asked for. The
key is hashed together with the PIN, so that a copy of the database tells no PIN.
"""

import hashlib
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from sqlmodel import Field, Session, col, select

from app.storage import audit
from app.storage.errors import NotFound
from app.storage.people import Person, hash_passphrase, matches
from app.storage.tables import Numbered, check, hexadecimal

MOST_WRONG: Final = 5


class Device(Numbered, table=True):
    """One browser with a PIN. Ended by its person, or by too many wrong ones."""

    __tablename__ = "device"
    __table_args__ = (
        hexadecimal("key_hash", 64),
        check("wrong", f"wrong BETWEEN 0 AND {MOST_WRONG}"),
    )

    key_hash: str = Field(unique=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    pin_hash: str
    made_at: datetime
    last_used_at: datetime | None = None
    wrong: int = 0
    ended_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Pairing:
    """A new key for a browser's cookie, and its PIN hashed together with it."""

    key: str
    pin_hash: str


def pair(pin: str) -> Pairing:
    """As heavy as a passphrase: hash it before the writing session."""
    key = secrets.token_urlsafe(32)
    return Pairing(key, hash_passphrase(_with_key(key, pin)))


def _with_key(key: str, pin: str) -> str:
    return f"{key}:{pin}"


def add_device(
    session: Session, person: Person, pairing: Pairing, *, old_key: str, now: datetime
) -> None:
    """A PIN for the browser that gets the key; what it had before ends."""
    before = known_device(session, person, old_key)
    if before is not None:
        before.ended_at = now
    device = Device(
        key_hash=_hash_of(pairing.key),
        person_id=person.id,
        pin_hash=pairing.pin_hash,
        made_at=now,
    )
    session.add(device)
    session.flush()
    audit.deed(session, "set_pin", device, by=person.id, now=now)


def _hash_of(key: str) -> str:
    return hashlib.sha256(key.encode()).hexdigest()


def known_device(session: Session, person: Person, key: str) -> Device | None:
    """This person's live PIN on the browser that holds `key`."""
    wanted = select(Device).where(
        Device.key_hash == _hash_of(key),
        Device.person_id == person.id,
        col(Device.ended_at).is_(None),
    )
    return session.exec(wanted).one_or_none()


def is_pin(device: Device, key: str, pin: str) -> bool:
    return matches(device.pin_hash, _with_key(key, pin))


def tried(session: Session, device_id: int, *, right: bool, now: datetime) -> Device:
    """Note a try; the fifth wrong one ends the PIN."""
    device = session.get_one(Device, device_id)
    if right:
        device.wrong, device.last_used_at = 0, now
    else:
        device.wrong = min(MOST_WRONG, device.wrong + 1)
    if device.wrong >= MOST_WRONG and device.ended_at is None:
        device.ended_at = now
        audit.deed(session, "forgot_pin", device, by=device.person_id, now=now)
    session.add(device)
    session.flush()
    return device


def devices_of(session: Session, person: Person) -> Sequence[Device]:
    wanted = select(Device).where(
        Device.person_id == person.id, col(Device.ended_at).is_(None)
    )
    return session.exec(wanted.order_by(col(Device.made_at))).all()


def end_device(session: Session, person: Person, device_id: int, now: datetime) -> None:
    """Their own device; NotFound for another's."""
    device = session.get(Device, device_id)
    if device is None or device.person_id != person.id:
        raise NotFound
    if device.ended_at is None:
        device.ended_at = now
        session.flush()
        audit.deed(session, "removed_pin", device, by=person.id, now=now)


def end_devices(session: Session, person: Person, now: datetime) -> None:
    """All of them: the passphrase was changed, or the person has left."""
    for device in devices_of(session, person):
        end_device(session, person, device.id, now)
