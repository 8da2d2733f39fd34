"""Deleting a patient for good: a supervisor's deed, after closing and archiving.

Every row that belongs to the patient goes, found by following the foreign keys of the
schema, so that a new table cannot be forgotten. The audit trail keeps ids and deeds.
"""

from datetime import datetime

from sqlalchemy import ForeignKeyConstraint, delete, select, update
from sqlalchemy import Table as SqlTable
from sqlmodel import Session

from app.storage import audit
from app.storage.errors import NotAllowed
from app.storage.numbers import keep_marks
from app.storage.patients import patient_for
from app.storage.people import Person
from app.storage.tables import Table


def purge(
    session: Session, person: Person, patient_id: int, *, why: str, now: datetime
) -> dict[str, int]:
    """Delete an archived patient; how many rows went, by table.

    `why` is a word of `PURGES`: nothing else is kept, since a text could tell who.
    """
    patient = patient_for(session, person, patient_id, "purge_patient")
    if patient.archived_at is None:
        raise NotAllowed("Close and archive this patient first.")
    audit.deed(session, f"purged_{why}", patient, by=person.id, now=now)
    session.flush()
    keep_marks(session)
    session.expire_all()
    gone: dict[str, int] = {}
    _delete(session, Table.metadata.tables["patient"], {patient_id}, gone)
    session.flush()
    return gone


def _delete(
    session: Session, table: SqlTable, ids: set[int], gone: dict[str, int]
) -> None:
    """First whatever points at these rows, then the rows."""
    if not ids:
        return
    for other in Table.metadata.sorted_tables:
        for key in other.foreign_key_constraints:
            if key.referred_table is table:
                _pointing(session, other, key, ids, gone)
    done = session.execute(delete(table).where(table.c.id.in_(ids)))
    gone[table.name] = gone.get(table.name, 0) + int(getattr(done, "rowcount", 0))


def _pointing(
    session: Session,
    other: SqlTable,
    key: ForeignKeyConstraint,
    ids: set[int],
    gone: dict[str, int],
) -> None:
    column = other.c[key.column_keys[0]]
    if other.name == "patient":  # folded into this one: it stays, pointing nowhere
        session.execute(update(other).where(column.in_(ids)).values({column: None}))
        return
    if "id" in other.c:
        found = set(session.scalars(select(other.c.id).where(column.in_(ids))))
        _delete(session, other, found, gone)
        return
    done = session.execute(delete(other).where(column.in_(ids)))
    gone[other.name] = gone.get(other.name, 0) + int(getattr(done, "rowcount", 0))
