"""Phones that somebody has paired, and the PIN that opens a locked page on one of them.

A phone is known by a key that only its cookie holds. The PIN needs that key and a
sign-in that is locked, not ended. A few wrong ones and it is forgotten: then the
passphrase is asked for. The key is hashed together with the PIN, so that a copy of the
database tells no PIN. A phone that is removed is signed out wherever it is.
"""

import hashlib
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from sqlmodel import Field, Session, col, func, select

from app.storage import audit
from app.storage.errors import NotFound
from app.storage.people import (
    Person,
    SignIn,
    end_sign_ins,
    hash_passphrase,
    matches,
)
from app.storage.tables import Numbered, check, hexadecimal, length

MOST_WRONG: Final = 5
LONGEST_NAME: Final = 40
#: Kept for a phone without a PIN: nothing typed ever matches it.
NO_PIN: Final = "!"
#: So long after pairing a first PIN is set without the passphrase.
FIRST_PIN_WITHIN: Final = timedelta(minutes=10)


class Device(Numbered, table=True):
    """One browser that was paired or has a PIN. Ended by who may remove it."""

    __tablename__ = "device"
    __table_args__ = (
        hexadecimal("key_hash", 64),
        check("wrong", f"wrong BETWEEN 0 AND {MOST_WRONG}"),
        length("name", 1, LONGEST_NAME),
    )

    key_hash: str = Field(unique=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    pin_hash: str
    made_at: datetime
    last_used_at: datetime | None = None
    wrong: int = 0
    ended_at: datetime | None = None
    name: str | None = None

    @property
    def has_pin(self) -> bool:
        return self.pin_hash != NO_PIN

    def takes_first_pin(self, now: datetime) -> bool:
        """Just paired: who did it has shown who they are."""
        fresh = not self.has_pin and self.wrong == 0
        return fresh and timedelta(0) <= now - self.made_at < FIRST_PIN_WITHIN


@dataclass(frozen=True, slots=True)
class Pairing:
    """A new key for a browser's cookie, and its PIN hashed together with it."""

    key: str
    pin_hash: str = NO_PIN


def pair(pin: str) -> Pairing:
    """As heavy as a passphrase: hash it before the writing session."""
    key = _new_key()
    return Pairing(key, hash_passphrase(_with_key(key, pin)))


def _new_key() -> str:
    return secrets.token_urlsafe(32)


def _with_key(key: str, pin: str) -> str:
    return f"{key}:{pin}"


def pair_phone(
    session: Session, person: Person, *, name: str, old_key: str, now: datetime
) -> tuple[Device, str]:
    """A phone of theirs without a PIN, and the key for its cookie.

    What the same phone was before ends.
    """
    before = paired_device(session, person, old_key)
    if before is not None:
        before.ended_at = now
    key = _new_key()
    device = _new_device(session, person, Pairing(key), name, now)
    audit.deed(session, "paired_phone", device, by=person.id, now=now)
    return device, key


def _new_device(
    session: Session, person: Person, pairing: Pairing, name: str, now: datetime
) -> Device:
    device = Device(
        key_hash=_hash_of(pairing.key),
        person_id=person.id,
        pin_hash=pairing.pin_hash,
        made_at=now,
        name=name or None,
    )
    session.add(device)
    session.flush()
    return device


def add_device(
    session: Session,
    person: Person,
    pairing: Pairing,
    *,
    old_key: str,
    now: datetime,
    name: str = "",
) -> Device:
    """A PIN for the browser that gets the key; a phone known already stays the same."""
    device = paired_device(session, person, old_key)
    if device is None:
        device = _new_device(session, person, pairing, name, now)
    device.key_hash, device.pin_hash = _hash_of(pairing.key), pairing.pin_hash
    device.wrong = 0
    session.flush()
    audit.deed(session, "set_pin", device, by=person.id, now=now)
    return device


def _hash_of(key: str) -> str:
    return hashlib.sha256(key.encode()).hexdigest()


def paired_device(session: Session, person: Person, key: str) -> Device | None:
    """This person's phone that holds `key`, with a PIN or without."""
    wanted = select(Device).where(
        Device.key_hash == _hash_of(key),
        Device.person_id == person.id,
        col(Device.ended_at).is_(None),
    )
    return session.exec(wanted).one_or_none()


def known_device(session: Session, person: Person, key: str) -> Device | None:
    """This person's live PIN on the browser that holds `key`."""
    device = paired_device(session, person, key)
    return device if device is not None and device.has_pin else None


def is_pin(device: Device, key: str, pin: str) -> bool:
    return matches(device.pin_hash, _with_key(key, pin))


def tried(session: Session, device_id: int, *, right: bool, now: datetime) -> Device:
    """Note a try; the fifth wrong one ends the PIN, and the phone stays paired."""
    device = session.get_one(Device, device_id)
    if right and device.has_pin:
        device.wrong, device.last_used_at = 0, now
    elif not right:
        device.wrong = min(MOST_WRONG, device.wrong + 1)
    if device.wrong >= MOST_WRONG and device.has_pin:
        device.pin_hash = NO_PIN
        audit.deed(session, "forgot_pin", device, by=device.person_id, now=now)
    session.add(device)
    session.flush()
    return device


def devices_of(session: Session, person: Person) -> Sequence[Device]:
    wanted = select(Device).where(
        Device.person_id == person.id, col(Device.ended_at).is_(None)
    )
    return session.exec(wanted.order_by(col(Device.made_at), col(Device.id))).all()


def last_seen(session: Session, person: Person) -> Mapping[int, datetime]:
    """When each of somebody's phones was last used, for those that were signed in."""
    wanted = (
        select(SignIn.device_id, func.max(SignIn.last_seen_at))
        .where(SignIn.person_id == person.id, col(SignIn.device_id).is_not(None))
        .group_by(col(SignIn.device_id))
    )
    return {device_id: at for device_id, at in session.exec(wanted) if device_id}


def end_device(
    session: Session,
    person: Person,
    device_id: int,
    now: datetime,
    *,
    by: Person | None = None,
) -> None:
    """Their phone is removed: its PIN is gone and it is signed out at once.

    NotFound for another's. `by`: a supervisor, where it is not themselves.
    """
    device = session.get(Device, device_id)
    if device is None or device.person_id != person.id:
        raise NotFound
    if device.ended_at is None:
        _end(session, device, by or person, now)
        end_sign_ins(session, person, by=by or person, now=now, on_device=device.id)


def _end(session: Session, device: Device, by: Person, now: datetime) -> None:
    device.ended_at, device.pin_hash = now, NO_PIN
    session.flush()
    audit.deed(session, "removed_phone", device, by=by.id, now=now)


def end_devices(session: Session, person: Person, now: datetime) -> None:
    """All of them: the passphrase was changed, or the person has left."""
    for device in devices_of(session, person):
        _end(session, device, person, now)
