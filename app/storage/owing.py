"""What is owed to whom: derived rows for lists, and what was done about the clocks.

`owed` is a cache, written in the transaction that changes what it is made from and
compared with today when it is read; `doctor` can make it again.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Final

from sqlalchemy import ColumnElement, Index, and_, delete, func, or_, union_all
from sqlmodel import Field, Session, col, select
from sqlmodel.sql.expression import Select, SelectOfScalar

from app.storage import audit
from app.storage.assignments import Assignment
from app.storage.caseload import visible
from app.storage.episodes import Episode, Visit
from app.storage.patients import Patient, patient_for
from app.storage.people import Person
from app.storage.prepared import prepared
from app.storage.tables import Numbered, check, length, one_of

KINDS: Final = ("co_sign", "look_into", "retest", "report", "recertify", "reassess")
#: Announced some days ahead, since others have to sign.
LONGER: Final = ("recertify", "reassess")
SOON: Final = timedelta(days=14)
#: In place of a test, what a visit left without its exit list is looked into for.
LEFT: Final = "exit_list"
#: In place of a test: a set of an activity, by its number.
SET: Final = "activity_set"
EVENTS: Final = ("report", "recertify", "reassess")


class PlanEvent(Numbered, table=True):
    """A clock that was answered: a report written, a plan certified again."""

    __tablename__ = "plan_event"
    __table_args__ = (
        one_of("kind", EVENTS),
        Index("ix_plan_event_once", "episode_id", "kind", "on_date", unique=True),
    )

    episode_id: int = Field(foreign_key="episode.id")
    kind: str
    on_date: date
    recorded_by: int = Field(foreign_key="person.id")
    recorded_at: datetime


class Owed(Numbered, table=True):
    """One thing owed to a patient from `due_on` on."""

    __tablename__ = "owed"
    __table_args__ = (
        one_of("kind", KINDS),
        length("measure", 0, 60),
        length("says", 1, 200),
        check("ref", "ref >= 0"),
        Index("ix_owed_once", "patient_id", "kind", "measure", "ref", unique=True),
        Index("ix_owed_due", "kind", "due_on", "patient_id"),
        Index("ix_owed_from", "patient_id", "due_on"),
    )

    patient_id: int = Field(foreign_key="patient.id")
    kind: str
    measure: str = ""
    ref: int = 0
    due_on: date
    says: str


class OwedBasis(Numbered, table=True):
    """The settings that every row was made with: one row, or none yet."""

    __tablename__ = "owed_basis"
    __table_args__ = (length("says", 1, 200),)

    says: str


@dataclass(frozen=True, slots=True)
class OwedLine:
    """The same as a plain value."""

    kind: str
    due_on: date
    says: str
    measure: str = ""
    ref: int = 0


def replace_owed(session: Session, patient_id: int, lines: Iterable[OwedLine]) -> None:
    """Write what is owed to a patient over what was."""
    wanted = {(x.kind, x.measure, x.ref): x for x in lines}
    known = session.exec(select(Owed).where(Owed.patient_id == patient_id)).all()
    for row in known:
        line = wanted.pop((row.kind, row.measure, row.ref), None)
        if line is None:
            session.delete(row)
        elif (row.due_on, row.says) != (line.due_on, line.says):
            row.due_on, row.says = line.due_on, line.says
            session.add(row)
    for line in wanted.values():
        session.add(
            Owed(
                patient_id=patient_id, kind=line.kind, measure=line.measure,
                ref=line.ref, due_on=line.due_on, says=line.says,
            )
        )  # fmt: skip
    session.flush()


def forget_owed(session: Session, patient_id: int) -> None:
    session.exec(delete(Owed).where(col(Owed.patient_id) == patient_id))


def owed_to(session: Session, patient_id: int) -> Sequence[Owed]:
    wanted = select(Owed).where(Owed.patient_id == patient_id)
    return session.exec(wanted.order_by(col(Owed.due_on), col(Owed.id))).all()


def treatment_days(session: Session, episode: Episode) -> list[date]:
    """The local days on which anything was done; a missed visit is none."""
    return list(_days(session, episode.id))


@prepared
def _days(episode_id: int) -> SelectOfScalar[date]:
    wanted = select(col(Visit.local_date)).where(
        Visit.episode_id == episode_id, Visit.kind != "missed"
    )
    return wanted.distinct()


def last_events(
    session: Session, episode: Episode, until: date = date.max
) -> dict[str, date]:
    """When each clock was last answered, until a day."""
    return dict(_newest_events(session, episode.id, until).all())


@prepared
def _newest_events(episode_id: int, until: date) -> Select[str, date]:
    newest: Any = func.max(col(PlanEvent.on_date))
    wanted: Any = select(PlanEvent.kind, newest).where(
        PlanEvent.episode_id == episode_id, PlanEvent.on_date <= until
    )
    return wanted.group_by(col(PlanEvent.kind))  # type: ignore[no-any-return]


def answer_clock(
    session: Session,
    person: Person,
    episode: Episode,
    kind: str,
    on: date,
    now: datetime,
) -> None:
    """Say that a report was written or a plan certified; twice a day is once."""
    patient_for(session, person, episode.patient_id, "manage_episode")
    known = select(PlanEvent.id).where(
        PlanEvent.episode_id == episode.id, PlanEvent.kind == kind,
        PlanEvent.on_date == on,
    )  # fmt: skip
    if session.exec(known).first() is not None:
        return
    row = PlanEvent(
        episode_id=episode.id, kind=kind, on_date=on, recorded_by=person.id,
        recorded_at=now,
    )  # fmt: skip
    session.add(row)
    session.flush()
    audit.deed(session, f"answered_{kind}", row, by=person.id, now=now)


@dataclass(frozen=True, slots=True)
class DeskRow:
    """Something owed, with whom it concerns."""

    owed: Owed
    label: str
    birth_year: int | None
    birth_date: date | None
    sex: str | None


@dataclass(frozen=True, slots=True)
class Desk:
    """Each kind's first rows, the oldest first, and how many there are in all."""

    rows: Mapping[str, list[DeskRow]]
    counts: Mapping[str, int]
    people: int
    with_something: int


def due_by(day: date, soon: date | None = None) -> ColumnElement[bool]:
    """What is owed by a day; some kinds are announced earlier, from `soon` on."""
    ahead = and_(col(Owed.kind).in_(LONGER), col(Owed.due_on) <= (soon or day + SOON))
    return or_(col(Owed.due_on) <= day, ahead)


def desk_for(
    session: Session, person: Person, day: date, soon: date, most: int
) -> Desk:
    """What is owed by `day`; recertification shows already from `soon` on.

    In a number of queries that does not grow with the site.
    """
    ids = visible(session, person, person.is_demo)
    if ids is None:
        return Desk({}, {}, 0, 0)
    by_day = due_by(day, soon)
    # By each row, else SQLite would go patient by patient.
    seen = ids.where(col(Patient.id) == col(Owed.patient_id)).correlate(Owed).exists()
    due = and_(by_day, seen)
    counted: Any = (
        select(Owed.kind, func.count(col(Owed.id))).where(due).group_by(col(Owed.kind))
    )
    owes = select(Owed.id).where(Owed.patient_id == Patient.id, by_day)
    owing = ids.where(owes.correlate(Patient).exists())
    return Desk(
        _first_rows(session, due, most),
        dict(session.exec(counted).all()),
        _how_many(session, ids),
        _how_many(session, owing),
    )


def _how_many(session: Session, ids: SelectOfScalar[int]) -> int:
    return session.exec(select(func.count()).select_from(ids.subquery())).one()


def _first_rows(
    session: Session, due: ColumnElement[bool], most: int
) -> dict[str, list[DeskRow]]:
    """The first few of each kind, the oldest first, each kind by its index."""
    in_order = (col(Owed.due_on), col(Owed.patient_id), col(Owed.id))
    firsts = [
        select(
            select(col(Owed.id))
            .where(Owed.kind == kind, due)
            .order_by(*in_order)
            .limit(most)
            .subquery()
            .c.id
        )
        for kind in KINDS
    ]
    wanted: Any = (
        select(Owed, Patient)
        .join(Patient, col(Patient.id) == col(Owed.patient_id))
        .where(col(Owed.id).in_(union_all(*firsts)))
        .order_by(*in_order)
    )
    rows: dict[str, list[DeskRow]] = {}
    for owed, patient in session.exec(wanted):
        row = DeskRow(
            owed, patient.label, patient.birth_year, patient.birth_date, patient.sex
        )
        rows.setdefault(owed.kind, []).append(row)
    return rows


def holders_of(session: Session, patient_ids: Collection[int]) -> dict[int, list[str]]:
    """The names of who looks after each of these."""
    wanted = (
        select(Assignment.patient_id, Person.name)
        .join(Person, col(Person.id) == col(Assignment.person_id))
        .where(
            col(Assignment.patient_id).in_(patient_ids), col(Assignment.until).is_(None)
        )
        .order_by(col(Assignment.since))
    )
    found: dict[int, list[str]] = {}
    for patient_id, name in session.exec(wanted):
        found.setdefault(patient_id, []).append(name)
    return found


def basis_of(session: Session) -> str:
    """What the rows were made with; empty when nobody has said it."""
    row = session.exec(select(OwedBasis)).first()
    return row.says if row else ""


def set_basis(session: Session, says: str) -> None:
    row = session.exec(select(OwedBasis)).first() or OwedBasis(says=says)
    row.says = says
    session.add(row)
    session.flush()
