"""The people of a site, managed by its supervisors; and everybody's own passphrase.

Nobody is deleted: who leaves is switched off, and their sign-ins, PINs and links end.
"""

from collections.abc import Sequence
from datetime import datetime

from sqlmodel import Session, col, func, select

from app.access import SUPERVISOR, may
from app.storage import audit, devices, links
from app.storage.assignments import Assignment
from app.storage.errors import NotAllowed, NotFound, StaleVersion, StorageProblem
from app.storage.people import Person, actor, end_sign_ins


class LastSupervisor(StorageProblem):
    """Somebody must be left who can manage people."""

    sentence = (
        "This is the only active supervisor. Make somebody else a supervisor first; "
        "nothing was changed."
    )


def everybody(session: Session, by: Person) -> Sequence[Person]:
    """Everybody of the same world, those who left last; NotFound for who may not."""
    _managing(by)
    wanted = select(Person).where(col(Person.is_demo).is_(by.is_demo))
    in_order = wanted.order_by(
        col(Person.active).desc(), col(Person.name), col(Person.id)
    )
    return session.exec(in_order).all()


def _managing(by: Person) -> None:
    if not may(actor(by), "manage_people", None):
        raise NotAllowed


def managed(session: Session, by: Person, person_id: int) -> Person:
    """Somebody of the same world."""
    _managing(by)
    person = session.get(Person, person_id)
    if person is None or person.is_demo != by.is_demo:
        raise NotFound
    return person


def rename(
    session: Session,
    by: Person,
    person: Person,
    *,
    name: str,
    role: str,
    version: int,
    now: datetime,
) -> None:
    """Change name and role; StaleVersion when somebody was quicker."""
    _fresh(person, version)
    if person.role == SUPERVISOR and role != SUPERVISOR:
        _not_the_last(session, person)
    person.name, person.role = name, role
    _changed(session, by, person, "changed_person", now)


def _fresh(person: Person, version: int) -> None:
    if person.version != version:
        raise StaleVersion


def _not_the_last(session: Session, person: Person) -> None:
    others = select(func.count(col(Person.id))).where(
        Person.role == SUPERVISOR,
        col(Person.active),
        Person.id != person.id,
        col(Person.is_demo).is_(person.is_demo),
    )
    if session.exec(others).one() == 0:
        raise LastSupervisor


def _changed(
    session: Session, by: Person | None, person: Person, did: str, now: datetime
) -> None:
    person.version += 1
    session.add(person)
    session.flush()
    audit.deed(session, did, person, by=by.id if by else None, now=now)


def switch_off(
    session: Session, by: Person, person: Person, *, version: int, now: datetime
) -> None:
    """They may no longer sign in; what they recorded stays theirs."""
    _fresh(person, version)
    switch_off_here(session, person, by=by, now=now)


def switch_off_here(
    session: Session, person: Person, *, by: Person | None = None, now: datetime
) -> None:
    """The same from the machine itself, where nobody is signed in."""
    if person.role == SUPERVISOR:
        _not_the_last(session, person)
    person.active = False
    end_sign_ins(session, person, by=by, now=now)
    devices.end_devices(session, person, now)
    links.end_links(session, person, now)
    _changed(session, by, person, "switched_off", now)


def switch_on(
    session: Session, by: Person, person: Person, *, version: int, now: datetime
) -> None:
    _fresh(person, version)
    person.active = True
    _changed(session, by, person, "switched_on", now)


def held_by(session: Session, person: Person) -> int:
    """How many patients are assigned to somebody now."""
    wanted = select(func.count(col(Assignment.id))).where(
        Assignment.person_id == person.id, col(Assignment.until).is_(None)
    )
    return session.exec(wanted).one()


def set_passphrase(
    session: Session,
    person: Person,
    *,
    passphrase_hash: str,
    by: Person,
    now: datetime,
    but: str = "",
) -> None:
    """A new passphrase: every other sign-in and every PIN ends."""
    person.passphrase_hash = passphrase_hash
    session.add(person)
    end_sign_ins(session, person, by=by, now=now, but=but)
    devices.end_devices(session, person, now)
    audit.deed(session, "set_passphrase", person, by=by.id, now=now)
