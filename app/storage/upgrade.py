"""The steps of a schema change: which schema is there, a copy of it, the way up.

Alembic does the work; this makes it safe on SQLite, where a table is changed by being
copied and foreign keys would bite half way.
"""

from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import datetime
from pathlib import Path
from sqlite3 import Connection as SqliteFile
from sqlite3 import connect
from typing import Final

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine

from app.storage.errors import NotSound, SchemaTooNew

MIGRATIONS: Final = Path(__file__).parent / "migrations"


def config(connection: Connection) -> Config:
    """What Alembic is told; its `env.py` takes the connection from here."""
    told = Config()
    told.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    told.attributes["connection"] = connection
    return told


def _scripts() -> ScriptDirectory:
    return ScriptDirectory(str(MIGRATIONS))


def newest() -> str:
    """The revision this program was written for."""
    return str(_scripts().get_current_head())


def revision_of(connection: Connection) -> str | None:
    """The schema's revision, None for an empty database.

    Raise SchemaTooNew when this program has never heard of it.
    """
    found = MigrationContext.configure(connection).get_current_revision()
    if found is not None and found not in {s.revision for s in _all_revisions()}:
        raise SchemaTooNew
    return found
