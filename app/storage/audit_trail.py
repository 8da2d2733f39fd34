"""The audit trail as a supervisor reads it: newest first, of their own world only.

A page is found by the last entry of the one before it and by indexes, so that it takes
as long with a million entries as with a hundred.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import Any, Final, Literal, cast

from sqlalchemy import ColumnElement, FromClause, and_, func, literal, or_, tuple_
from sqlalchemy import Table as SqlTable
from sqlalchemy import select as sql_select
from sqlmodel import Session, col, select

from app.access import Subject, may
from app.storage.audit import AuditEntry
from app.storage.errors import NotAllowed
from app.storage.patients import Patient
from app.storage.people import Person, actor
from app.storage.tables import Table

Kind = Literal["patient", "round", "person"]
Key = tuple[str, int]


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a page asks for. None or empty: all; `before` is the last entry shown."""

    who: int | None = None
    deed: str = ""
    subject: str = ""
    since: datetime | None = None
    until: datetime | None = None
    before: int | None = None


@dataclass(frozen=True, slots=True)
class Place:
    """What an entry is about, for who may see it: the page it has, and its name."""

    kind: Kind
    id: int
    name: str


def entries_for(
    session: Session, me: Person, wanted: Wanted, most: int
) -> Sequence[tuple[AuditEntry, Person | None]]:
    """Entries with who did them, newest first; NotAllowed for who may not read them."""
    may_read(me)
    asked: Any = (
        select(AuditEntry, Person)
        .outerjoin(Person, col(Person.id) == col(AuditEntry.person_id))
        .where(_own_world(me), *_asked_for(session, wanted))
        .order_by(col(AuditEntry.at).desc(), col(AuditEntry.id).desc())
        .limit(most)
    )
    return [(entry, person) for entry, person in session.exec(asked)]


def restored_since(
    session: Session, since: datetime
) -> tuple[datetime, datetime] | None:
    """When the site was restored from a backup, and of when that backup is."""
    asked = select(AuditEntry).where(AuditEntry.deed == "restored_site")
    asked = asked.where(col(AuditEntry.at) >= since)
    last = session.exec(asked.order_by(col(AuditEntry.at).desc()).limit(1)).first()
    before = session.get(AuditEntry, last.id - 1) if last else None
    return (last.at, before.at) if last and before else None


def may_read(me: Person) -> None:
    """Raise NotAllowed for who may not read the trail."""
    if not may(actor(me), "see_audit", None):
        raise NotAllowed


def _own_world(me: Person) -> ColumnElement[bool]:
    """By who did it; what the program did itself, by whom it did it to."""
    added = select(Person.id).where(col(Person.is_demo).is_(me.is_demo))
    subject = col(AuditEntry.subject)
    of_people = and_(subject == "person", col(AuditEntry.subject_id).in_(added))
    by_itself = of_people if me.is_demo else or_(of_people, subject != "person")
    return or_(
        col(Person.is_demo).is_(me.is_demo),
        and_(col(AuditEntry.person_id).is_(None), by_itself),
    )


def _asked_for(session: Session, wanted: Wanted) -> Iterable[ColumnElement[bool]]:
    at, id = col(AuditEntry.at), col(AuditEntry.id)
    if wanted.who is not None:
        yield col(AuditEntry.person_id) == wanted.who
    if wanted.deed:
        yield col(AuditEntry.deed) == wanted.deed
    if wanted.subject:
        yield col(AuditEntry.subject) == wanted.subject
    if wanted.since is not None:
        yield at >= wanted.since
    if wanted.until is not None:
        yield at < wanted.until
    last = session.get(AuditEntry, wanted.before) if wanted.before else None
    if last is not None:
        yield tuple_(at, id) < tuple_(literal(last.at, AT), literal(last.id))


#: A value compared with the column is bound as the column is.
AT: Final = AuditEntry.__table__.c.at.type  # type: ignore[attr-defined]


def words_used(session: Session, column: Literal["deed", "subject"]) -> list[str]:
    """Every word the trail holds in a column: one step of its index for each.

    `SELECT DISTINCT` would read the whole index.
    """
    words = col(getattr(AuditEntry, column))
    seen = select(func.min(words).label("word")).cte("seen", recursive=True)
    after = (
        select(func.min(words))
        .where(words > seen.c.word)
        .correlate(seen)
        .scalar_subquery()
    )
    seen = seen.union_all(select(after).where(seen.c.word.is_not(None)))
    found = session.exec(select(seen.c.word).where(seen.c.word.is_not(None)))
    return list(found)


#: The way from any row to its patient, by the columns that point there.
STEPS: Final = (
    "trial_id", "set_id", "round_id", "visit_id", "text_id", "episode_id",
    "patient_id",
)  # fmt: skip
#: A row about a stop points at one of these; the other is empty.
EITHER: Final = ("trial_id", "set_id")


@cache
def _ways_to_patient(name: str) -> tuple[Any, ...]:
    """Queries of a table's ids, each with its patient's id and its round's, if any.

    Found by following the schema, so that a new table needs no line here. None when the
    rows of a table belong to no patient.
    """
    table = Table.metadata.tables.get(name)
    if table is None or "id" not in table.c:
        return ()
    firsts = [word for word in EITHER if word in table.c] or STEPS[:1]
    return tuple(way for first in firsts if (way := _way(table, first)) is not None)


def _way(table: SqlTable, first: str) -> Any:
    """By `first` where the table has that column; else by its first of the steps."""
    at, joined = table, cast(FromClause, table)
    round_id: Any = literal(None)
    while at.name != "patient":
        round_id = at.c.id if at.name == "round" else round_id
        step = next((at.c[word] for word in (first, *STEPS) if word in at.c), None)
        if step is None:
            return None
        at = next(iter(step.foreign_keys)).column.table
        joined = joined.join(at, step == at.c.id)
    return sql_select(table.c.id, at.c.id, round_id).select_from(joined)


def places_of(
    session: Session, me: Person, entries: Sequence[AuditEntry]
) -> dict[Key, Place]:
    """Where entries' subjects are found, those only that `me` may see."""
    by_kind: dict[str, set[int]] = {}
    for entry in entries:
        by_kind.setdefault(entry.subject, set()).add(entry.subject_id)
    found: dict[Key, Place] = {}
    for person in _people(session, me, by_kind.pop("person", set())):
        found["person", person.id] = Place("person", person.id, person.name)
    owners = {
        (kind, id): (patient_id, round_id)
        for kind, ids in by_kind.items()
        for id, patient_id, round_id in _owners(session, kind, ids)
    }
    labels = _labels(session, me, {patient_id for patient_id, _ in owners.values()})
    for key, (patient_id, round_id) in owners.items():
        if patient_id in labels:
            kind: Kind = "round" if round_id else "patient"
            found[key] = Place(kind, round_id or patient_id, labels[patient_id])
    return found


def _people(session: Session, me: Person, ids: set[int]) -> Sequence[Person]:
    if not ids:
        return ()
    wanted = select(Person).where(col(Person.id).in_(ids))
    return session.exec(wanted.where(col(Person.is_demo).is_(me.is_demo))).all()


def _owners(
    session: Session, kind: str, ids: set[int]
) -> Iterable[tuple[int, int, int | None]]:
    return [
        (row[0], row[1], row[2])
        for way in _ways_to_patient(kind)
        for row in session.connection().execute(
            way.where(Table.metadata.tables[kind].c.id.in_(ids))
        )
    ]


def _labels(session: Session, me: Person, ids: set[int]) -> dict[int, str]:
    """Who reads the trail sees the whole caseload of their world, assigned or not."""
    wanted = select(Patient.id, Patient.label, Patient.is_demo)
    return {
        id: label
        for id, label, is_demo in session.exec(wanted.where(col(Patient.id).in_(ids)))
        if may(actor(me), "see_patient", Subject(is_demo))
    }
