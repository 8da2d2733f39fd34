"""The list with what stands on it for one day: owed, ticked, seen, covered.

Three queries more than the caseload's own, however long the list is.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlmodel import Session, col, select

from app.access import may
from app.storage.assignments import Assignment
from app.storage.caseload import CaseloadRow, Ids, caseload_for, visible
from app.storage.cover import Cover, clock_of, in_force
from app.storage.episodes import Episode, Visit
from app.storage.owing import Owed, OwedLine
from app.storage.people import Person, actor


@dataclass(frozen=True, slots=True)
class Seen:
    """Today's visit: one's own before another's."""

    at: datetime
    by: str
    own: bool


@dataclass(frozen=True, slots=True)
class Covering:
    """Whose patient this is, and until when one stands in for them."""

    name: str
    until: datetime


@dataclass(frozen=True, slots=True)
class ListRow:
    """One patient on the list, with all that is owed, the earliest first."""

    row: CaseloadRow
    owed: tuple[OwedLine, ...] = ()
    seen: Seen | None = None
    covering: Covering | None = None


def todays_list(session: Session, person: Person, day: date) -> list[ListRow]:
    """Everybody on the person's list, in their own order."""
    ids = visible(session, person, person.is_demo)
    if ids is None:
        return []
    owed = _owed(session, ids)
    seen = _seen(session, ids, person, day)
    covering = _covering(session, person)
    return [
        ListRow(
            row,
            tuple(owed.get(row.patient_id, ())),
            seen.get(row.patient_id),
            covering.get(row.patient_id),
        )
        for row in caseload_for(session, person, demo=person.is_demo, day=day)
    ]


def _owed(session: Session, ids: Ids) -> Mapping[int, Sequence[OwedLine]]:
    wanted = select(Owed).where(col(Owed.patient_id).in_(ids))
    found: dict[int, list[OwedLine]] = {}
    for row in session.exec(wanted.order_by(col(Owed.due_on), col(Owed.id))):
        line = OwedLine(row.kind, row.due_on, row.says, row.measure, row.ref)
        found.setdefault(row.patient_id, []).append(line)
    return found


def _seen(session: Session, ids: Ids, person: Person, day: date) -> Mapping[int, Seen]:
    """A visit that was missed is none."""
    wanted: Any = (
        select(Episode.patient_id, Visit.started_at, Visit.person_id, Person.name)
        .join(Visit, col(Visit.episode_id) == col(Episode.id))
        .join(Person, col(Person.id) == col(Visit.person_id))
        .where(
            col(Episode.patient_id).in_(ids),
            Visit.local_date == day,
            Visit.kind != "missed",
        )
        .order_by(col(Visit.started_at).desc())
    )
    found: dict[int, Seen] = {}
    for patient_id, at, by, name in session.exec(wanted):
        own = by == person.id
        if own or patient_id not in found or not found[patient_id].own:
            found[patient_id] = Seen(at, name, own)
    return found


def _covering(session: Session, person: Person) -> Mapping[int, Covering]:
    """Patients on the list only because one stands in for somebody."""
    if not may(actor(person), "cover_colleague", None):
        return {}
    own = select(Assignment.patient_id).where(
        Assignment.person_id == person.id, col(Assignment.until).is_(None)
    )
    wanted: Any = (
        select(Assignment.patient_id, Person.name, Cover.until)
        .join(Cover, col(Cover.for_id) == col(Assignment.person_id))
        .join(Person, col(Person.id) == col(Cover.for_id))
        .where(
            col(Assignment.until).is_(None),
            Cover.person_id == person.id,
            in_force(clock_of(session)),
            col(Assignment.patient_id).not_in(own),
        )
        .order_by(col(Cover.until).desc(), col(Person.name))
    )
    return {id: Covering(name, until) for id, name, until in session.exec(wanted)}
