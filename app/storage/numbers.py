"""Numbers of rows are never given twice, so that an old address finds nobody new.

PostgreSQL counts on by itself. SQLite gives the highest number again once its row was
deleted: an audit entry, a page left open or a trial that waits on a phone would then
point at somebody else. So a purge remembers how far each table had counted.
"""

from typing import Any, Final

from sqlalchemy import Table as SqlTable
from sqlalchemy import func, select
from sqlalchemy.orm import Session
from sqlmodel import Field

from app.storage.tables import Numbered, Table, check, word

_GIVEN: Final = "numbers_given"


class NumberMark(Table, table=True):
    """How far a table had counted when its rows were last deleted for good."""

    __tablename__ = "number_mark"
    __table_args__ = (word("name"), check("upto", "upto >= 1"))

    name: str = Field(primary_key=True)
    upto: int


def keep_marks(session: Session) -> None:
    """Remember the highest number of every numbered table, before rows are deleted."""
    for table in Table.metadata.sorted_tables:
        upto = _highest(session, table) if "id" in table.c else 0
        if upto:
            session.merge(NumberMark(name=table.name, upto=upto))
    session.flush()


def _highest(session: Session, table: SqlTable) -> int:
    """The highest number that was ever given, as far as it is known."""
    marks: Any = Table.metadata.tables["number_mark"]
    marked = select(marks.c.upto).where(marks.c.name == table.name).scalar_subquery()
    used = select(func.max(table.c.id)).scalar_subquery()
    row = session.connection().execute(select(marked, used)).one()
    return max(row[0] or 0, row[1] or 0)


def number_new_rows(session: Session) -> None:
    """Give each new row its number; a writer is alone, so it asks once per table."""
    given: dict[str, int] = session.info.setdefault(_GIVEN, {})
    for row in session.new:
        if isinstance(row, Numbered) and row.id is None:
            table: SqlTable = row.__table__
            last = given.get(table.name)
            given[table.name] = (_highest(session, table) if last is None else last) + 1
            row.id = given[table.name]
