"""What of a record is in an export, and how much waits for a co-signature.

`fhir_release` holds the rule: a student's work goes out once it is co-signed. A round
goes as a whole, and with its visit, or stays.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from sqlalchemy import ColumnElement, union
from sqlmodel import Session, and_, col, func, or_, select
from sqlmodel.sql.expression import SelectOfScalar

from app.access import STUDENT
from app.storage.activity_sets import ActivitySet
from app.storage.episodes import Episode, Visit
from app.storage.goal_rows import GoalRow
from app.storage.patients import Patient
from app.storage.people import Person
from app.storage.review import VisitText
from app.storage.trials import Round, RoundTrials, Trial, rounds_of
from app.web.fhir_release import Release, release_of

#: So many tests and trials are counted before an export; of more it is said.
MOST: Final = 10_000


@dataclass(frozen=True, slots=True)
class Released:
    """One patient's visits and rounds that may go, in order; `waiting` ones stay."""

    visits: tuple[Visit, ...]
    rounds: tuple[RoundTrials, ...]
    waiting_visits: int
    waiting_rounds: tuple[RoundTrials, ...]
    release: Release
    visit_ids: frozenset[int]
    round_ids: frozenset[int]

    @property
    def numbered(self) -> Sequence[tuple[int, RoundTrials]]:
        """The rounds, counted from 1: alike in every file."""
        return list(enumerate(self.rounds, 1))

    def holds_round(self, kept: RoundTrials) -> bool:
        return kept.round.id in self.round_ids

    def holds_set(self, row: ActivitySet) -> bool:
        """As it was recorded, and taken back if it was."""
        by, at = row.recorded_by, row.recorded_at
        if row.voided_at is not None:
            by, at = row.voided_by or 0, row.voided_at
        return row.visit_id in self.visit_ids and self.release.may_go(
            row.visit_id, by, at
        )


def released(session: Session, patient_id: int) -> Released:
    visits = session.exec(
        select(Visit)
        .join(Episode, col(Episode.id) == col(Visit.episode_id))
        .where(Episode.patient_id == patient_id)
        .order_by(col(Visit.local_date), col(Visit.started_at), col(Visit.id))
    ).all()
    release = release_of(session, visits)
    going = tuple(visit for visit in visits if release.visit_goes(visit))
    ids = frozenset(visit.id for visit in going)
    rounds = rounds_of(session, patient_id)
    held = [k for k in rounds if k.round.visit_id in ids and release.round_goes(k)]
    kept = frozenset(each.round.id for each in held)
    return Released(
        visits=going,
        rounds=tuple(held),
        waiting_visits=len(visits) - len(going),
        waiting_rounds=tuple(k for k in rounds if k.trials and k.round.id not in kept),
        release=release,
        visit_ids=ids,
        round_ids=kept,
    )


@dataclass(frozen=True, slots=True)
class Held:
    """How much is on record, waiting or not.

    A million trials take a second to count, and nobody needs the last digit before an
    export: with more than `most` their number ends there and `rounds` is None.
    """

    patients: int
    rounds: int | None
    trials: int

    @property
    def most(self) -> int:
        return MOST

    @property
    def large(self) -> bool:
        """Too much to look through before somebody asks for it."""
        return self.rounds is None


@dataclass(frozen=True, slots=True)
class LeftOut:
    """What waits for a co-signature."""

    visits: int
    rounds: int

    @property
    def waits(self) -> bool:
        return bool(self.visits or self.rounds)

    @property
    def words(self) -> str:
        """`2 visits of students and 3 tests`; `nothing`."""
        told = (
            (self.visits, "visit of a student", "visits of students"),
            (self.rounds, "test", "tests"),
        )
        said = [f"{of:,} {one if of == 1 else more}" for of, one, more in told if of]
        return " and ".join(said) or "nothing"


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


def held(session: Session, whose: ColumnElement[bool], *, seen: bool = False) -> Held:
    """Of the patients that are meant; `seen`: of those whom somebody has visited."""
    visited = select(Visit.id).join(Episode, col(Episode.id) == col(Visit.episode_id))
    patients = select(Patient.id).where(whose)
    if seen:
        own = col(Episode.patient_id) == col(Patient.id)
        patients = patients.where(visited.where(own).exists())
    tried = (
        select(Trial.round_id)
        .join(Round, col(Round.id) == col(Trial.round_id))
        .join(Visit, col(Visit.id) == col(Round.visit_id))
        .join(Episode, col(Episode.id) == col(Visit.episode_id))
        .join(Patient, col(Patient.id) == col(Episode.patient_id))
        .where(whose)
    )
    trials = _number(session, tried.limit(MOST + 1))
    few = trials <= MOST
    return Held(
        patients=_number(session, patients),
        rounds=_number(session, tried.distinct()) if few else None,
        trials=trials,
    )


def _number(session: Session, of: SelectOfScalar[int]) -> int:
    return session.exec(select(func.count()).select_from(of.subquery())).one()


def left_out(session: Session, *whose: ColumnElement[bool]) -> list[LeftOut]:
    """Of each group that is meant. Looks closely only where students worked, once."""
    meant = [set(session.exec(select(Patient.id).where(each))) for each in whose]
    close = set(_with_students(session)).intersection(set[int]().union(*meant))
    found = {one: left_of(released(session, one)) for one in close}
    return [_together(found[one] for one in each & close) for each in meant]


def _together(found: Iterable[LeftOut]) -> LeftOut:
    each = list(found)
    return LeftOut(sum(f.visits for f in each), sum(f.rounds for f in each))


def left_of(one: Released) -> LeftOut:
    return LeftOut(one.waiting_visits, len(one.waiting_rounds))


def unsigned_goals(session: Session, whose: ColumnElement[bool]) -> int:
    wanted = (
        select(GoalRow.id)
        .join(Episode, col(Episode.id) == col(GoalRow.episode_id))
        .join(Patient, col(Patient.id) == col(Episode.patient_id))
        .where(whose, col(GoalRow.signed_at).is_(None))
    )
    return _number(session, wanted)


def _with_students(session: Session) -> Sequence[int]:
    """Patients of whose record a student, of then or now, wrote a part.

    Of every world, so that a page that asks for two groups looks once.
    """
    students = select(Person.id).where(Person.role == STUDENT)
    tried = (
        select(Round.visit_id)
        .join(Trial, col(Trial.round_id) == col(Round.id))
        .where(
            or_(
                col(Trial.recorded_by).in_(students),
                col(Trial.voided_by).in_(students),
            )
        )
    )
    handed_in = select(VisitText.visit_id).where(VisitText.kind == "handed_in")
    theirs = select(Visit.id).where(col(Visit.person_id).in_(students))
    # One set: joined by OR, PostgreSQL would look through all of it for each visit.
    parts = union(theirs, handed_in, tried)
    wanted = (
        select(Episode.patient_id)
        .join(Visit, col(Visit.episode_id) == col(Episode.id))
        .where(col(Visit.id).in_(parts))
    )
    return session.exec(wanted.distinct()).all()


def told_apart(session: Session, *, demo: bool) -> list[int]:
    """The numbers of everybody of a world, each person once."""
    wanted = select(Patient.id).where(single_ones(demo=demo))
    return list(session.exec(wanted.order_by(col(Patient.id))))
