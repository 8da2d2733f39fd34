"""What of a record may leave the site: everything but students' work nobody has signed.

A student's visit is a draft until a supervisor has co-signed it, or has said that it
needs no co-signature. Until then it is in no export; how much that is gets counted.
"""

from dataclasses import dataclass

from sqlalchemy import ColumnElement
from sqlmodel import Session, and_, col, func, or_, select
from sqlmodel.sql.expression import SelectOfScalar

from app.access import STUDENT
from app.storage.episodes import Episode, Visit
from app.storage.goal_rows import GoalRow
from app.storage.patients import Patient
from app.storage.people import Person
from app.storage.review import ReviewDecision, VisitText
from app.storage.trials import Round, Trial

#: Decisions by which a student's visit is part of the record.
SETTLES = ("approved", "co_signed")


@dataclass(frozen=True, slots=True)
class Counts:
    """How much an export holds, and what of it waits for a signature.

    `seen` are the patients with a visit that does not wait.
    """

    patients: int
    seen: int
    rounds: int
    trials: int
    waiting_visits: int
    waiting_rounds: int
    unsigned_goals: int

    @property
    def waiting_words(self) -> str:
        """`2 visits of students with 3 tests`; `nothing`."""
        if not self.waiting_visits:
            return "nothing"
        visits = _number(self.waiting_visits, "visit") + " of students"
        tests = _number(self.waiting_rounds, "test")
        return f"{visits} with {tests}" if self.waiting_rounds else visits


def _number(of: int, one: str) -> str:
    return f"1 {one}" if of == 1 else f"{of:,} {one}s"


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


def open_ones(*, demo: bool) -> ColumnElement[bool]:
    """The patients of a caseload."""
    return and_(col(Patient.is_demo).is_(demo), col(Patient.closed_at).is_(None))


def single_ones(*, demo: bool) -> ColumnElement[bool]:
    """Everybody of a world once: neither folded into another nor archived."""
    return and_(
        col(Patient.is_demo).is_(demo),
        col(Patient.archived_at).is_(None),
        col(Patient.merged_into).is_(None),
    )


def told_apart(session: Session, *, demo: bool) -> list[int]:
    """Their numbers."""
    wanted = select(Patient.id).where(single_ones(demo=demo))
    return list(session.exec(wanted.order_by(col(Patient.id))))


def counts(session: Session, whose: ColumnElement[bool]) -> Counts:
    """Of the patients that are meant."""
    held = _visits(whose).where(~is_waiting())
    waiting = _visits(whose).where(is_waiting())
    tried = select(
        func.count(func.distinct(col(Round.id))), func.count(col(Trial.id))
    ).join(Trial, col(Trial.round_id) == col(Round.id))
    rounds, trials = session.exec(tried.where(col(Round.visit_id).in_(held))).one()
    left, _ = session.exec(tried.where(col(Round.visit_id).in_(waiting))).one()
    visits = select(func.count(col(Visit.id))).where(col(Visit.id).in_(waiting))
    seen = (
        select(func.count(func.distinct(col(Episode.patient_id))))
        .join(Visit, col(Visit.episode_id) == col(Episode.id))
        .where(col(Visit.id).in_(held))
    )
    goals = (
        select(func.count(col(GoalRow.id)))
        .join(Episode, col(Episode.id) == col(GoalRow.episode_id))
        .join(Patient, col(Patient.id) == col(Episode.patient_id))
        .where(whose, col(GoalRow.signed_at).is_(None))
    )
    return Counts(
        patients=session.exec(select(func.count(col(Patient.id))).where(whose)).one(),
        seen=session.exec(seen).one(),
        rounds=rounds,
        trials=trials,
        waiting_visits=session.exec(visits).one(),
        waiting_rounds=left,
        unsigned_goals=session.exec(goals).one(),
    )


def _visits(whose: ColumnElement[bool]) -> SelectOfScalar[int]:
    return (
        select(Visit.id)
        .join(Episode, col(Episode.id) == col(Visit.episode_id))
        .join(Patient, col(Patient.id) == col(Episode.patient_id))
        .where(whose)
    )
