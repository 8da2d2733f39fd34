"""Wrong guesses at a secret, in the audit trail: at whose handle, and when.

What was typed is kept nowhere, nor a handle that nobody has: people type their
passphrase into that field too.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final, Literal

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.storage import audit
from app.storage.audit import AuditEntry
from app.storage.audit_trail import may_read
from app.storage.people import Person

Secret = Literal["passphrase", "pin"]
DEEDS: Final = ("refused_passphrase", "refused_pin")
NOBODYS: Final = "refused_handle"


@dataclass(frozen=True, slots=True)
class Wrong:
    """How often it was tried with somebody's handle; without a person: nobody's."""

    person: Person | None
    many: int
    last_at: datetime


def note_wrong(session: Session, handle: str, secret: Secret, now: datetime) -> None:
    """One entry of the trail. Nobody did it: who typed is not known."""
    found = select(Person.id).where(Person.handle == handle.strip().lower())
    person_id = session.exec(found).one_or_none()
    deed, subject = NOBODYS, "site"
    if person_id is not None:
        deed, subject = DEEDS[secret == "pin"], "person"
    audit.append(
        session, person_id=None, deed=deed, subject=subject,
        subject_id=person_id or 1, now=now,
    )  # fmt: skip


def wrong_since(session: Session, me: Person, since: datetime) -> Sequence[Wrong]:
    """By handle, the most first; of one's own world. NotAllowed as for the trail."""
    may_read(me)
    many, last = func.count(col(AuditEntry.id)), func.max(col(AuditEntry.at))
    asked = (
        select(Person, many, last)
        .join(Person, col(Person.id) == col(AuditEntry.subject_id))
        .where(col(AuditEntry.deed).in_(DEEDS), AuditEntry.subject == "person")
        .where(col(AuditEntry.at) >= since, col(Person.is_demo).is_(me.is_demo))
        .group_by(col(Person.id))
        .order_by(many.desc(), col(Person.id))
        .select_from(AuditEntry)
    )
    found = [Wrong(person, times, at) for person, times, at in session.exec(asked)]
    nobodys = select(many, last).where(
        AuditEntry.deed == NOBODYS, col(AuditEntry.at) >= since
    )
    times, at = session.exec(nobodys).one()
    if times and not me.is_demo:
        found.append(Wrong(None, times, at))
    return found
