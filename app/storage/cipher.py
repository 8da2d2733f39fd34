"""A SQLite file that is encrypted as a whole, by SQLCipher: the `[encrypted]` extra.

A key is in an address where others have a password. With one every connection is
SQLCipher's, and gives the key before anything else; without one nothing here is used.
"""

import importlib
import sqlite3
from pathlib import Path
from types import ModuleType
from typing import Any, Final
from urllib.parse import quote

from sqlalchemy import URL, Engine

from app.storage.errors import NotSound

#: Under which an engine remembers its address, key and all.
ADDRESS: Final = "tapeline_address"
NOT_INSTALLED: Final = (
    "A key is set for the database, and what encrypts it is not installed: run "
    "pip install 'tapeline[encrypted]', or take TAPELINE_DATABASE_KEY and "
    "TAPELINE_DATABASE_KEY_FILE away."
)
WRONG_KEY: Final = (
    "The key does not open the database: it is another one, or the file is not "
    "encrypted or damaged. Nothing was changed. Look at TAPELINE_DATABASE_KEY_FILE or "
    "TAPELINE_DATABASE_KEY."
)
NO_KEY: Final = (
    "The file is not a database that can be read: it is encrypted and no key is set, "
    "or it is damaged. Nothing was changed. TAPELINE_DATABASE_KEY_FILE names the key's "
    "file."
)


def without_key(address: URL) -> URL:
    """As SQLAlchemy takes it: a SQLite file has no password for it."""
    return URL.create(address.drivername, database=address.database)


def driver_of(address: URL) -> ModuleType:
    """What opens the file: Python's own SQLite, or the one that encrypts."""
    if not address.password:
        return sqlite3
    try:
        return importlib.import_module("sqlcipher3.dbapi2")
    except ImportError as fault:
        raise NotSound(NOT_INSTALLED) from fault


def beside(engine: Engine, path: Path) -> Any:
    """Another file, opened as the engine's own is and with the same key."""
    return connect(engine.get_execution_options()[ADDRESS], path)


def file_of(address: URL) -> Path:
    return Path(address.database or "")


def connect(address: URL, path: Path | None = None, *, options: str = "") -> Any:
    """A connection to the address's file, or to another with the same key.

    NotSound when the key, or having none, does not open it.
    """
    name = quote(str((path or file_of(address)).absolute()))
    made = driver_of(address).connect(
        f"file:{name}{options}", uri=True, check_same_thread=False
    )
    try:
        if address.password:
            made.execute("PRAGMA cipher_log_level = NONE")  # we say it ourselves
            made.execute(f"PRAGMA key = \"x'{address.password}'\"")
        made.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except driver_of(address).DatabaseError as fault:
        made.close()
        if "not a database" not in str(fault):
            raise
        raise NotSound(WRONG_KEY if address.password else NO_KEY) from fault
    return made
