"""One site's database: the engine, a session that reads, and a session that writes.

SQLite or PostgreSQL by its address alone. One writer at a time on both, so that what a
writer has read is still true when it writes. A commit that returned is on the disk.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any, Final

from sqlalchemy import (
    URL,
    Connection,
    Engine,
    ExceptionContext,
    SelectBase,
    create_engine,
    event,
    make_url,
)
from sqlalchemy.engine.interfaces import DBAPIConnection
from sqlalchemy.orm import Session as AnySession
from sqlalchemy.orm import UOWTransaction
from sqlmodel import Session
from sqlmodel.sql.expression import SelectOfScalar

from app.storage import upgrade
from app.storage.cipher import ADDRESS, connect, driver_of, without_key
from app.storage.errors import Busy, NotSound, ReadOnly
from app.storage.numbers import number_new_rows

#: 40 threads serve requests; each may hold a reading and a writing connection at once.
CONNECTIONS: Final = 85
KEPT_OPEN: Final = 40
LONGEST_WAIT_S: Final = 10
#: Processes of one site wait for each other as long as threads do at an import's gate.
LONGEST_FOR_OTHERS_S: Final = 120
READING: Final = "tapeline_reading"
IMPATIENT: Final = "tapeline_impatient"
#: The lock all writers of a PostgreSQL site share; any number, but always this one.
WRITERS: Final = 7_424_118
#: What SQLite says of a write where `query_only` is on, and of a file it may not write.
SQLITE_READONLY: Final = 8
#: What every SQLite connection must answer: a log that survives, full syncs, keys.
SOUND: Final = {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1}


def make_engine(
    url: str, connections: int = CONNECTIONS, cache_kib: int | None = None
) -> Engine:
    """The engine of a site, with so many connections at most.

    A SQLite file's folder is made when it is missing. `cache_kib`: how much of the file
    each connection remembers, which the machine has in memory already; None leaves it
    to SQLite (2 MB).
    """
    address = make_url(url)
    on_sqlite = address.get_backend_name() == "sqlite"
    if on_sqlite:
        _make_folder(address)
    engine = create_engine(
        without_key(address) if on_sqlite else address,
        **(_file_of(address) if on_sqlite else {}),
        pool_size=min(KEPT_OPEN, connections),
        max_overflow=max(0, connections - KEPT_OPEN),
        pool_timeout=LONGEST_WAIT_S,
        # A PostgreSQL server may have been restarted; a file cannot go away like that.
        pool_pre_ping=not on_sqlite,
    )
    event.listen(engine, "connect", prepare_sqlite if on_sqlite else prepare_postgresql)
    if on_sqlite and cache_kib is not None:
        event.listen(engine, "connect", partial(_remember, cache_kib))
    event.listen(engine, "begin", _begin_sqlite if on_sqlite else _begin_postgresql)
    event.listen(engine, "handle_error", _our_own_fault)
    return engine


def _our_own_fault(context: ExceptionContext) -> Exception | None:
    """A write by a page that only reads is no fault of the disk, though it looks so."""
    if context.connection is None or not _has(context.connection, READING):
        return None
    told = context.original_exception
    refused = getattr(told, "sqlite_errorcode", None) == SQLITE_READONLY
    if refused or getattr(told, "sqlstate", None) == "25006":
        return ReadOnly("A statement would change something in a session that reads.")
    return None


def _file_of(address: URL) -> dict[str, Any]:
    """How a SQLite file is opened, encrypted or not."""
    return {
        "module": driver_of(address),
        "creator": partial(connect, address),
        "execution_options": {ADDRESS: address},
    }


def _make_folder(address: URL) -> None:
    name = address.database or ":memory:"
    if name.startswith((":", "file:")):
        raise NotSound("The database must be a file: sqlite:/// and its path.")
    Path(name).parent.mkdir(parents=True, exist_ok=True, mode=0o700)


def prepare_sqlite(connection: DBAPIConnection, _entry: object) -> None:
    """Durable, with foreign keys; both read back, since SQLite refuses in silence."""
    # The driver would begin transactions late, and deferred: `_begin_sqlite` begins.
    connection.isolation_level = None
    cursor = connection.cursor()
    cursor.execute(f"PRAGMA busy_timeout = {LONGEST_WAIT_S * 1000}")
    cursor.execute("PRAGMA journal_mode = WAL")
    cursor.execute("PRAGMA synchronous = FULL")
    cursor.execute("PRAGMA foreign_keys = ON")
    found = {}
    for name, wanted in SOUND.items():
        cursor.execute(f"PRAGMA {name}")
        found[name] = cursor.fetchone() == (wanted,)
    cursor.close()
    if not all(found.values()):
        wrong = ", ".join(name for name, right in found.items() if not right)
        raise NotSound(
            f"The database file cannot be kept safe where it is: {wrong} cannot be "
            "set. Put it on a disk of this machine."
        )


def _remember(kib: int, connection: DBAPIConnection, _entry: object) -> None:
    cursor = connection.cursor()
    cursor.execute(f"PRAGMA cache_size = -{kib}")
    cursor.close()


def prepare_postgresql(connection: DBAPIConnection, _entry: object) -> None:
    """An answer after the commit means on the disk, whatever the server's default.

    And nobody waits for ever for a writer that hangs.
    """
    cursor = connection.cursor()
    cursor.execute("SET synchronous_commit = on")
    cursor.execute(f"SET lock_timeout = '{LONGEST_FOR_OTHERS_S}s'")
    cursor.close()
    connection.commit()


def _has(connection: Connection, option: str) -> bool:
    return bool(connection.get_execution_options().get(option))


def _begin_sqlite(connection: Connection) -> None:
    if _has(connection, READING):
        # By the driver: every page begins twice, and neither of these can fail.
        cursor = connection.connection.cursor()
        cursor.execute("PRAGMA query_only = 1")
        cursor.execute("BEGIN")
        cursor.close()
        return
    connection.exec_driver_sql("PRAGMA query_only = 0")
    if _has(connection, IMPATIENT):
        _begin_at_once(connection)
    else:
        # A deferred writer fails at once when another has written since it first read.
        connection.exec_driver_sql("BEGIN IMMEDIATE")


def _begin_at_once(connection: Connection) -> None:
    connection.exec_driver_sql("PRAGMA busy_timeout = 0")
    try:
        connection.exec_driver_sql("BEGIN IMMEDIATE")
    finally:
        connection.exec_driver_sql(f"PRAGMA busy_timeout = {LONGEST_WAIT_S * 1000}")


def _begin_postgresql(connection: Connection) -> None:
    if _has(connection, READING):
        connection.exec_driver_sql(
            "SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY"
        )
    elif _has(connection, IMPATIENT):
        ask = f"SELECT pg_try_advisory_xact_lock({WRITERS})"
        if not connection.exec_driver_sql(ask).scalar_one():
            raise Busy
    else:
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITERS})")


class WritingSession(Session):
    """One deed of one person. Rows it makes get numbers that no row ever had."""


class ReadingSession(Session):
    """Sees one moment of the database and can change nothing."""


class PageSession(ReadingSession):
    """A page's: seeing one moment, it answers the same question from what it has read.

    It keeps every row it read, so it is for pages and never for an export.
    """

    def exec(self, statement: Any, *, params: Any = None, **how: Any) -> Any:
        if how or not isinstance(statement, SelectBase):
            return super().exec(statement, params=params, **how)
        found = self._answer(statement, params)
        return found.scalars() if isinstance(statement, SelectOfScalar) else found

    def execute(self, statement: Any, params: Any = None, **how: Any) -> Any:
        # What loads a row by its key, or again, says how.
        if any(how.values()) or not isinstance(statement, SelectBase):
            return AnySession.execute(self, statement, params, **how)
        return self._answer(statement, params)

    def get(self, *key: Any, **how: Any) -> Any:
        row = super().get(*key, **how)
        self.info.setdefault("kept", []).append(row)
        return row

    def close(self) -> None:
        super().close()
        # It refers back to the session: left to the collector, thousands of objects a
        # page add up to a tenth of a second for whoever asks then.
        self.info.clear()

    def _answer(self, statement: Any, params: Any) -> Any:
        question = _question(statement, params)
        known = self.info.setdefault("answers", {})
        if question is None or question not in known:
            # Not by an event, which would have every statement prepared twice.
            found = AnySession.execute(self, statement, params)
            if question is None:
                return found
            known[question] = found.freeze()
        return known[question]()


def _question(statement: SelectBase, params: Any) -> object:
    """Statement and values; None for what is not to be answered from memory."""
    key = statement._generate_cache_key()
    if key is None:
        return None
    values = [bound.effective_value for bound in key.bindparams]
    return key.key, repr(values), repr(params)


@event.listens_for(ReadingSession, "before_flush")
def _refuse_changes(
    _session: AnySession, _context: UOWTransaction, _instances: object
) -> None:
    raise ReadOnly("A change was made in a session that only reads.")


@event.listens_for(WritingSession, "before_flush")
def _number_new_rows(
    session: AnySession, _context: UOWTransaction, _instances: object
) -> None:
    if session.connection().dialect.name == "sqlite":
        number_new_rows(session)


@contextmanager
def read_session(engine: Engine, *, page: bool = False) -> Iterator[Session]:
    """A session that reads. Adding or changing a row in it raises ReadOnly.

    `page`: it remembers what it read, for a page that asks the same again.
    """
    reading = engine.execution_options(**{READING: True})
    kind = PageSession if page else ReadingSession
    with kind(reading, expire_on_commit=False) as session:
        yield session


@contextmanager
def write_session(engine: Engine, *, impatient: bool = False) -> Iterator[Session]:
    """A session for one deed: committed at its end, or not done at all.

    Rows stay readable afterwards. Hash passphrases before opening it: others wait.
    `impatient`: when somebody else is writing it fails at once instead of waiting.
    """
    writing = engine.execution_options(**{IMPATIENT: impatient})
    with WritingSession(writing, expire_on_commit=False) as session, session.begin():
        # The lock is taken here, before anything is read, and not at the first query.
        session.connection()
        yield session


def migrate(engine: Engine, backup_folder: Path | None) -> None:
    """Bring the database to this program's schema, in one transaction or not at all.

    A SQLite file that holds anything is copied into `backup_folder` first, and of
    earlier copies the oldest go afterwards. Raise SchemaTooNew, having changed nothing,
    when a newer program made the database.
    """
    copy = None
    try:
        with upgrade.changing_schema(engine) as connection:
            found = upgrade.revision_of(connection)
            if found == upgrade.newest():
                return
            if backup_folder is not None and upgrade.holds_anything(connection):
                # The write lock is held, so nothing can slip in after the copy.
                copy = upgrade.back_up(engine, backup_folder, found, datetime.now(UTC))
            upgrade.to_newest(connection)
    except BaseException:
        if copy is not None:  # nothing was changed, and every try makes another
            copy.unlink(missing_ok=True)
        raise
    if backup_folder is not None:
        upgrade.forget_old_copies(backup_folder, copy)
