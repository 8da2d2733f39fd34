"""Looking a site's database over without touching it.

A SQLite file is opened so that not even a journal of ours can be written into it.
"""

from collections.abc import Iterator
from typing import Final

from sqlalchemy import Connection, Engine, create_engine, event, make_url
from sqlalchemy.engine.interfaces import DBAPIConnection
from sqlmodel import Session

from app.storage.cipher import connect, driver_of
from app.storage.database import make_engine

#: More lines than this help nobody.
MOST_LINES: Final = 100


def looking_engine(url: str) -> Engine:
    """An engine that can only read. A SQLite file must be there already."""
    address = make_url(url)
    if address.get_backend_name() != "sqlite":
        return make_engine(url)  # its reading sessions are read-only on the server
    engine = create_engine(
        "sqlite://",
        module=driver_of(address),
        creator=lambda: connect(address, options="?mode=ro"),
    )
    event.listen(engine, "connect", _begin_ourselves)
    event.listen(engine, "begin", _begin)
    return engine


def _begin_ourselves(connection: DBAPIConnection, _entry: object) -> None:
    connection.isolation_level = None


def _begin(connection: Connection) -> None:
    connection.exec_driver_sql("BEGIN")


def file_faults(session: Session) -> list[str]:
    """What SQLite finds wrong with its own file; nothing on PostgreSQL."""
    if session.connection().dialect.name != "sqlite":
        return []
    asked = f"PRAGMA integrity_check({MOST_LINES})"
    found = [str(row[0]) for row in session.connection().exec_driver_sql(asked)]
    return [] if found == ["ok"] else found


def stray_references(session: Session) -> Iterator[str]:
    """Rows that point at a row which is not there."""
    if session.connection().dialect.name != "sqlite":
        return
    found = session.connection().exec_driver_sql("PRAGMA foreign_key_check")
    for table, row, parent, _key in found.fetchmany(MOST_LINES):
        yield f"{table} {row} points at a {parent} that is not there"
