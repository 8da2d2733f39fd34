"""Assigning a patient, taking somebody off, and handing a patient over."""

from collections.abc import Sequence
from datetime import datetime

from sqlmodel import Session, col, select

from app.access import ASSISTANT, STUDENT, Subject, may
from app.storage.assignments import (
    Assignment,
    begin_assignment,
    end_assignment,
    open_assignment,
)
from app.storage.errors import NotAllowed, NotFound
from app.storage.patients import Patient, patient_for
from app.storage.people import Person, actor


def assign(
    session: Session,
    person: Person,
    patient: Patient,
    to: Person,
    *,
    note: str = "",
    now: datetime,
) -> Assignment:
    """Make `to` responsible for a patient; who already is stays so.

    Raise NotAllowed when `to` could not see the patient even then.
    """
    patient_for(session, person, patient.id, "transfer_patient")
    _could_see(patient, to)
    return begin_assignment(session, person, patient.id, to.id, note=note, now=now)


def _could_see(patient: Patient, to: Person) -> None:
    whom = Subject(patient.is_demo, assigned=True)
    if not to.active or not may(actor(to), "see_patient", whom):
        raise NotAllowed


def unassign(
    session: Session, person: Person, patient: Patient, whom: Person, *, now: datetime
) -> None:
    """End somebody's responsibility; nothing happens when they had none."""
    patient_for(session, person, patient.id, "transfer_patient")
    assignment = open_assignment(session, patient.id, whom.id)
    if assignment is not None:
        end_assignment(session, person, assignment, now)


def transfer(
    session: Session,
    person: Person,
    patient: Patient,
    to: Person,
    *,
    note: str,
    now: datetime,
) -> None:
    """Hand a patient over: every therapist's assignment ends, `to`'s begins.

    Students and assistants who work with the patient stay.
    """
    patient_for(session, person, patient.id, "transfer_patient")
    _could_see(patient, to)
    if to.role in (ASSISTANT, STUDENT):
        raise NotAllowed("Hand over to a therapist; an assistant or student can help.")
    for assignment, holder in responsible(session, patient):
        if holder.role not in (ASSISTANT, STUDENT) and holder.id != to.id:
            end_assignment(session, person, assignment, now)
    begin_assignment(session, person, patient.id, to.id, note=note, now=now)


def responsible(
    session: Session, patient: Patient
) -> Sequence[tuple[Assignment, Person]]:
    """Who is assigned now, the longest first."""
    wanted = (
        select(Assignment, Person)
        .join(Person, col(Person.id) == col(Assignment.person_id))
        .where(Assignment.patient_id == patient.id, col(Assignment.until).is_(None))
    )
    return session.exec(wanted.order_by(col(Assignment.since))).all()


def could_be_assigned(session: Session, patient: Patient) -> Sequence[Person]:
    """Everybody active of the patient's world."""
    wanted = select(Person).where(
        col(Person.active), col(Person.is_demo).is_(patient.is_demo)
    )
    return session.exec(wanted.order_by(col(Person.name))).all()


def colleague(session: Session, patient: Patient, person_id: int) -> Person:
    """One of them; NotFound for anybody else."""
    found = session.get(Person, person_id)
    if found is None or found.is_demo != patient.is_demo or not found.active:
        raise NotFound
    return found
