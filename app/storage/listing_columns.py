"""Further filters, sortings and columns of the whole caseload's table."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from sqlalchemy import func, literal_column
from sqlmodel import Session, col, select

from app.clinical.precautions import PRECAUTIONS
from app.storage.assignments import Assignment
from app.storage.episodes import Episode, Visit
from app.storage.owing import Owed
from app.storage.patients import Patient
from app.storage.people import Person
from app.storage.precautions import PrecautionOnEpisode, holds_on
from app.storage.scores import Score

Ids = Any
#: A visit that took place, written as its index has it.
HELD: Final = col(Visit.kind) != literal_column("'missed'")
ORDERS: Final = tuple(tag for tag, what in PRECAUTIONS.items() if what.kind == "order")


@dataclass(frozen=True, slots=True)
class Latest:
    """A patient's last score: of one test where the table asks for it, else of any."""

    measure: str
    on_date: date
    outcome: str
    value: str | None
    unit: str


def by_measure(ids: Ids, measure: str, _day: date) -> Ids:
    has = select(Score.patient_id).where(Score.measure == measure)
    return ids.where(col(Patient.id).in_(has))


def by_orders(ids: Ids, _yes: str, day: date) -> Ids:
    """An order belongs to the person, whatever episode it was set in."""
    has = (
        select(Episode.patient_id)
        .join(
            PrecautionOnEpisode, col(PrecautionOnEpisode.episode_id) == col(Episode.id)
        )
        .where(col(PrecautionOnEpisode.tag).in_(ORDERS), holds_on(day))
    )
    return ids.where(col(Patient.id).in_(has))


def by_name_of_owner() -> Any:
    """The first by name of those who look after somebody."""
    return (
        select(func.min(col(Person.name)))
        .join(Assignment, col(Assignment.person_id) == col(Person.id))
        .where(
            col(Assignment.patient_id) == col(Patient.id),
            col(Assignment.until).is_(None),
        )
        .correlate(Patient)
        .scalar_subquery()
    )


def by_next_owed() -> Any:
    return (
        select(func.min(col(Owed.due_on)))
        .where(col(Owed.patient_id) == col(Patient.id))
        .correlate(Patient)
        .scalar_subquery()
    )


def by_last_visit() -> Any:
    """Also of episodes that are closed; a missed visit is none."""
    return (
        select(func.max(col(Visit.local_date)))
        .join(Episode, col(Episode.id) == col(Visit.episode_id))
        .where(col(Episode.patient_id) == col(Patient.id), HELD)
        .correlate(Patient)
        .scalar_subquery()
    )


def by_last_test(measure: str) -> Any:
    wanted = select(func.max(col(Score.on_date))).where(
        col(Score.patient_id) == col(Patient.id), col(Score.newest)
    )
    if measure:
        wanted = wanted.where(Score.measure == measure)
    return wanted.correlate(Patient).scalar_subquery()


def last_visits(session: Session, ids: Collection[int]) -> Mapping[int, date]:
    wanted: Any = (
        select(Episode.patient_id, func.max(col(Visit.local_date)))
        .join(Visit, col(Visit.episode_id) == col(Episode.id))
        .where(col(Episode.patient_id).in_(ids), HELD)
        .group_by(col(Episode.patient_id))
    )
    return dict(session.exec(wanted).all())


def next_owed(session: Session, ids: Collection[int]) -> Mapping[int, date]:
    wanted: Any = (
        select(Owed.patient_id, func.min(col(Owed.due_on)))
        .where(col(Owed.patient_id).in_(ids))
        .group_by(col(Owed.patient_id))
    )
    return dict(session.exec(wanted).all())


def last_tests(
    session: Session, ids: Collection[int], measure: str
) -> Mapping[int, Latest]:
    """The newest try of each."""
    place = func.row_number().over(
        partition_by=col(Score.patient_id),
        order_by=(col(Score.on_date).desc(), col(Score.round_id).desc()),
    )
    ranked: Any = select(col(Score.id).label("id"), place.label("place")).where(
        col(Score.patient_id).in_(ids), col(Score.newest)
    )
    if measure:
        ranked = ranked.where(Score.measure == measure)
    inner = ranked.subquery()
    newest = select(inner.c.id).where(inner.c.place == 1)
    return {
        s.patient_id: Latest(s.measure, s.on_date, s.outcome, s.value, s.unit)
        for s in session.exec(select(Score).where(col(Score.id).in_(newest)))
    }
