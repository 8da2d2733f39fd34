"""The steps of a schema change: which schema is there, a copy of it, the way up.

Alembic does the work; this makes it safe on SQLite, where a table is changed by being
copied and foreign keys would bite half way.
"""

from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any, Final

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, inspect

from app.storage.cipher import beside
from app.storage.errors import NotSound, SchemaTooNew

MIGRATIONS: Final = Path(__file__).parent / "migrations"


def config(connection: Connection) -> Config:
    """What Alembic is told; its `env.py` takes the connection from here."""
    told = Config()
    told.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    told.attributes["connection"] = connection
    return told


@cache
def newest() -> str:
    """The revision this program was written for."""
    return str(ScriptDirectory(MIGRATIONS).get_current_head())


def revision_of(connection: Connection) -> str | None:
    """The schema's revision, None when there is none yet.

    Raise SchemaTooNew when this program has never heard of it.
    """
    found = MigrationContext.configure(connection).get_current_revision()
    if found is not None and found not in _known():
        raise SchemaTooNew
    return found


@cache
def _known() -> frozenset[str]:
    """Every revision of this program."""
    steps = ScriptDirectory(MIGRATIONS).walk_revisions()
    return frozenset(script.revision for script in steps)


def is_known(revision: str) -> bool:
    """Whether this program can build that schema, and bring it up from there."""
    return revision in _known()


def to_newest(connection: Connection) -> None:
    command.upgrade(config(connection), "head")


def to_revision(connection: Connection, revision: str) -> None:
    command.upgrade(config(connection), revision)


@contextmanager
def changing_schema(engine: Engine) -> Iterator[Connection]:
    """A connection in one transaction, in which a migration may copy tables.

    On SQLite foreign keys are off, which only works from before the transaction, and
    every reference is checked before it is committed.
    """
    with engine.connect() as connection:
        if engine.dialect.name != "sqlite":
            with connection.begin():
                yield connection
            return
        # Python's own SQLite or SQLCipher's: the two have no common class.
        driver: Any = connection.connection.driver_connection
        driver.execute("PRAGMA foreign_keys = OFF")
        try:
            with connection.begin():
                yield connection
                _check_references(connection)
        finally:
            driver.execute("PRAGMA foreign_keys = ON")


def _check_references(connection: Connection) -> None:
    astray = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    if astray:
        tables = ", ".join(sorted({str(row[0]) for row in astray}))
        raise NotSound(
            f"Rows of {tables} point at rows that do not exist, so the database was "
            "left as it was. Restore a backup, or ask who runs this site."
        )


def holds_anything(connection: Connection) -> bool:
    return bool(inspect(connection).get_table_names())


def back_up(engine: Engine, folder: Path, revision: str | None, now: datetime) -> None:
    """Copy a SQLite file as it stands, under a name that says from when and what.

    The copy of an encrypted one is encrypted with the same key. A PostgreSQL site is
    backed up by who runs the server.
    """
    if engine.dialect.name != "sqlite":
        return
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    copy = folder / f"before-upgrade-of-{revision}-{now:%Y%m%dT%H%M%S%f}Z.sqlite"
    copy.touch(mode=0o600, exist_ok=False)
    raw = engine.raw_connection()
    try:
        source: Any = raw.driver_connection
        with closing(beside(engine, copy)) as target:
            source.backup(target)
            sound = target.execute("PRAGMA quick_check").fetchone()[0]
    finally:
        raw.close()
    if sound != "ok":
        raise NotSound("The backup before the upgrade failed. Nothing was changed.")
