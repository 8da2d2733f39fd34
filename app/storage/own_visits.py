"""A person's own visits and how far the note of each is, for what comes next."""

from collections.abc import Sequence

from sqlmodel import Session, col, select

from app.storage.assignments import Assignment
from app.storage.episodes import Episode, Visit
from app.storage.patients import Patient
from app.storage.people import Person
from app.storage.review import VisitText, comments_on, decision_of, texts_of

#: Looked at: the latest.
LATEST = 10


def own_visits(
    session: Session, person: Person
) -> Sequence[tuple[Visit, int, str, str, int]]:
    """Newest first: visit, patient's id and label, stage of the note, comments on it.

    Stages: `open`, `unwritten`, `waits`, `returned`, `signed`. Whoever calls keeps
    those whose patient `person` may see.
    """
    wanted = (
        select(Visit, Patient.id, Patient.label)
        .join(Episode, col(Episode.id) == col(Visit.episode_id))
        .join(Patient, col(Patient.id) == col(Episode.patient_id))
        .where(Visit.person_id == person.id, Visit.kind != "missed")
        .order_by(col(Visit.local_date).desc(), col(Visit.id).desc())
        .limit(LATEST)
    )
    return [
        (visit, number, label, *_stage(session, visit))
        for visit, number, label in session.exec(wanted)
    ]


def assigned_to(session: Session, person: Person) -> Sequence[tuple[int, str]]:
    """Patients, by id and label, for whom a person is responsible, the latest first."""
    wanted = (
        select(Patient.id, Patient.label)
        .join(Assignment, col(Assignment.patient_id) == col(Patient.id))
        .where(
            Assignment.person_id == person.id,
            col(Assignment.until).is_(None),
            col(Patient.closed_at).is_(None),
        )
    )
    return session.exec(wanted.order_by(col(Assignment.id).desc())).all()


def _stage(session: Session, visit: Visit) -> tuple[str, int]:
    if visit.closed_at is None:
        return "open", 0
    texts = texts_of(session, visit)
    if not texts:
        return "unwritten", 0
    last: VisitText = texts[-1]
    made = decision_of(session, last)
    if made is None:
        return ("waits", 0) if last.kind == "handed_in" else ("signed", 0)
    if made.decision == "returned":
        return "returned", len(comments_on(session, last))
    return "signed", 0
