"""Two records of one person: one is folded into the other and stays as its sign."""

from collections.abc import Sequence
from datetime import datetime

from sqlmodel import Session, col, select, update

from app.storage import audit
from app.storage.assignments import Assignment, begin_assignment
from app.storage.episodes import Episode
from app.storage.errors import NotAllowed
from app.storage.patients import Patient, patient_for
from app.storage.people import Person
from app.storage.scores import Score


def fold(
    session: Session, person: Person, into_id: int, from_id: int, *, now: datetime
) -> Patient:
    """Move everything of one patient to another of the same world.

    Whoever looked after either sees the kept one. Its scores have to be read again by
    the caller. The same again changes nothing.
    """
    kept = patient_for(session, person, into_id, "merge_patient")
    folded = patient_for(session, person, from_id, "merge_patient")
    if folded.merged_into == kept.id:
        return kept
    if kept.id == folded.id or kept.is_demo != folded.is_demo:
        raise NotAllowed("Two different records of one person can be made one.")
    if kept.merged_into is not None or folded.merged_into is not None:
        raise NotAllowed("One of these was already folded into another.")
    for table in (Episode, Score):
        session.exec(
            update(table)
            .where(col(table.patient_id) == folded.id)
            .values(patient_id=kept.id)
        )
    for assignment in _open(session, folded):
        begin_assignment(session, person, kept.id, assignment.person_id, now=now)
        assignment.until = now
    folded.merged_into, folded.closed_at = kept.id, folded.closed_at or now
    folded.version += 1
    session.add(folded)
    session.flush()
    audit.deed(session, "folded_patient", folded, by=person.id, now=now)
    return kept


def _open(session: Session, patient: Patient) -> Sequence[Assignment]:
    wanted = select(Assignment).where(
        Assignment.patient_id == patient.id, col(Assignment.until).is_(None)
    )
    return session.exec(wanted).all()
