"""The people of a site, managed by its supervisors; and everybody's own passphrase.

Nobody is deleted: who leaves is switched off, and their sign-ins, PINs and links end.
"""

from collections.abc import Sequence
from datetime import datetime

from sqlmodel import Session, col, func, select

from app.access import SUPERVISOR, may
from app.storage import audit, devices, links, waits
from app.storage.assignments import Assignment
from app.storage.errors import NotAllowed, NotFound, StaleVersion, StorageProblem
from app.storage.patients import Patient
from app.storage.people import UNSET, Person, actor, end_sign_ins


class LastSupervisor(StorageProblem):
    """Somebody must be left who can manage people."""

    sentence = (
        "This is the only active supervisor who can sign in. Make somebody else one "
        "first; nothing was changed."
    )


class SwitchedOff(StorageProblem):
    """A link would let nobody in."""

    sentence = (
        "They are switched off, so a link would not let them in. Switch them on "
        "first; nothing was changed."
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
    if person.role == SUPERVISOR and role != SUPERVISOR and person.active:
        _not_the_last(session, person)
    person.name, person.role = name, role
    _changed(session, by, person, "changed_person", now)


def _fresh(person: Person, version: int) -> None:
    if person.version != version:
        raise StaleVersion


def _not_the_last(session: Session, person: Person) -> None:
    """Who has not chosen a passphrase yet cannot sign in, and does not count."""
    others = select(func.count(col(Person.id))).where(
        Person.role == SUPERVISOR,
        col(Person.active),
        Person.id != person.id,
        Person.passphrase_hash != UNSET,
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
    if person.role == SUPERVISOR and person.active:
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


def held_by(session: Session, by: Person, person: Person) -> Sequence[Patient]:
    """The patients in care who are assigned to somebody now."""
    _managing(by)
    wanted = (
        select(Patient)
        .join(Assignment, col(Assignment.patient_id) == col(Patient.id))
        .where(
            Assignment.person_id == person.id,
            col(Assignment.until).is_(None),
            col(Patient.closed_at).is_(None),
            col(Patient.is_demo).is_(by.is_demo),
        )
    )
    return session.exec(wanted.order_by(col(Patient.label))).all()


def give_link(
    session: Session, person: Person, *, by: Person | None = None, now: datetime
) -> str:
    """A link's token by which somebody chooses a passphrase; an earlier one ends."""
    if not person.active:
        raise SwitchedOff
    return links.make_link(session, "passphrase", person=person, by=by, now=now)


def added_just_so(
    session: Session, by: Person, *, handle: str, name: str, role: str
) -> Person | None:
    """Who was added by the same form already and has not used their link yet."""
    _managing(by)
    wanted = select(Person).where(
        Person.handle == handle.strip().lower(),
        Person.name == name,
        Person.role == role,
        Person.passphrase_hash == UNSET,
        col(Person.active),
        col(Person.is_demo).is_(by.is_demo),
    )
    return session.exec(wanted).first()


def set_passphrase(
    session: Session,
    person: Person,
    *,
    passphrase_hash: str,
    by: Person,
    now: datetime,
    but: str = "",
) -> None:
    """A new passphrase: every other sign-in, every PIN and every link ends.

    Wrong guesses at the old one no longer make them wait.
    """
    person.passphrase_hash = passphrase_hash
    session.add(person)
    end_sign_ins(session, person, by=by, now=now, but=but)
    devices.end_devices(session, person, now)
    links.end_links(session, person, now)
    waits.right(session, waits.account(person.handle))
    audit.deed(session, "set_passphrase", person, by=by.id, now=now)
