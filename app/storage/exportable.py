"""What of a record may leave the site: everything but students' work nobody has signed.

A student's visit is a draft until a supervisor has co-signed it, or has said that it
needs no co-signature. Until then it is in no export; how much that is gets counted.
"""

from dataclasses import dataclass

from sqlalchemy import ColumnElement
from sqlmodel import Session, and_, col, func, or_, select

from app.access import STUDENT
from app.storage.episodes import Episode, Visit
from app.storage.patients import Patient
from app.storage.people import Person
from app.storage.review import ReviewDecision, VisitText
from app.storage.trials import Round, Trial

#: Decisions by which a student's visit is part of the record.
SETTLES = ("approved", "co_signed")


@dataclass(frozen=True, slots=True)
class Counts:
    """How much an export holds, and what of it waits for a co-signature."""

    patients: int
    rounds: int
    trials: int
    waiting_visits: int
    waiting_rounds: int


def is_waiting() -> ColumnElement[bool]:
    """A visit of a student, or one that was a student's when it was handed in."""
    students = select(Person.id).where(Person.role == STUDENT)
    handed_in = select(VisitText.visit_id).where(VisitText.kind == "handed_in")
    settled = (
        select(VisitText.visit_id)
        .join(ReviewDecision, col(ReviewDecision.text_id) == col(VisitText.id))
        .where(col(ReviewDecision.decision).in_(SETTLES))
    )
    theirs = or_(col(Visit.person_id).in_(students), col(Visit.id).in_(handed_in))
    return and_(theirs, col(Visit.id).not_in(settled))


def waiting_visits(session: Session, patient_id: int) -> frozenset[int]:
    """The visits of a patient that no export may hold yet."""
    wanted = (
        select(Visit.id)
        .join(Episode, col(Episode.id) == col(Visit.episode_id))
        .where(Episode.patient_id == patient_id, is_waiting())
    )
    return frozenset(session.exec(wanted))


def counts(session: Session, *, demo: bool, patient_id: int | None = None) -> Counts:
    """Of the open patients of one world, or of one patient."""
    whose = (
        and_(col(Patient.is_demo).is_(demo), col(Patient.closed_at).is_(None))
        if patient_id is None
        else col(Patient.id) == patient_id
    )
    patients = session.exec(select(func.count(col(Patient.id))).where(whose)).one()
    visits = (
        select(Visit.id)
        .join(Episode, col(Episode.id) == col(Visit.episode_id))
        .join(Patient, col(Patient.id) == col(Episode.patient_id))
        .where(whose)
    )
    held, waiting = visits.where(~is_waiting()), visits.where(is_waiting())
    tried = select(func.count(func.distinct(col(Round.id))), func.count(col(Trial.id)))
    tried = tried.join(Trial, col(Trial.round_id) == col(Round.id))
    rounds, trials = session.exec(tried.where(col(Round.visit_id).in_(held))).one()
    left, _ = session.exec(tried.where(col(Round.visit_id).in_(waiting))).one()
    number = select(func.count()).select_from(waiting.subquery())
    return Counts(patients, rounds, trials, session.exec(number).one(), left)


def told_apart(session: Session, *, demo: bool) -> list[int]:
    """Everybody of a world who is one person: open or closed, neither folded away nor
    archived."""
    wanted = select(Patient.id).where(
        col(Patient.is_demo).is_(demo),
        col(Patient.archived_at).is_(None),
        col(Patient.merged_into).is_(None),
    )
    return list(session.exec(wanted.order_by(col(Patient.id))))
