"""Who is responsible for whom, from when to when. Rows are ended, never deleted."""

from datetime import datetime

from sqlmodel import Field, Session, col, select

from app.storage import audit
from app.storage.people import Person
from app.storage.tables import Numbered, length, partial_index


class Assignment(Numbered, table=True):
    """Somebody is responsible for a patient from `since` on, until `until`."""

    __tablename__ = "assignment"
    __table_args__ = (
        partial_index(
            "ix_assignment_open",
            "person_id",
            "patient_id",
            unique=True,
            rule="until IS NULL",
        ),
        length("note", 0, 200),
    )

    patient_id: int = Field(foreign_key="patient.id", index=True)
    person_id: int = Field(foreign_key="person.id")
    since: datetime
    until: datetime | None = None
    note: str = ""


def begin_assignment(
    session: Session,
    by: Person,
    patient_id: int,
    person_id: int,
    *,
    note: str = "",
    now: datetime,
) -> Assignment:
    """Make somebody responsible; who already is stays so."""
    known = open_assignment(session, patient_id, person_id)
    if known is not None:
        return known
    assignment = Assignment(
        patient_id=patient_id, person_id=person_id, since=now, note=note
    )
    session.add(assignment)
    session.flush()
    audit.deed(session, "assigned", assignment, by=by.id, now=now)
    return assignment


def open_assignment(
    session: Session, patient_id: int, person_id: int
) -> Assignment | None:
    wanted = select(Assignment).where(
        Assignment.patient_id == patient_id,
        Assignment.person_id == person_id,
        col(Assignment.until).is_(None),
    )
    return session.exec(wanted).first()


def end_assignment(
    session: Session, by: Person, assignment: Assignment, now: datetime
) -> None:
    assignment.until = now
    session.flush()
    audit.deed(session, "unassigned", assignment, by=by.id, now=now)
