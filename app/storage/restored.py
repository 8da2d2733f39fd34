"""A site that was restored: whether there is room for it, and who it still lets in."""

import sqlite3
from contextlib import closing
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection, Engine, update

from app.storage.errors import NotSound, StorageProblem
from app.storage.site_lines import Shape, shapes_of

#: A row with one of these, and an end, is something that lets somebody in: a sign-in, a
#: link that works once, a phone with a PIN.
SECRETS: Final = frozenset({"token_hash", "key_hash", "secret_hash"})
#: Lie beside a SQLite file while it is in use.
BESIDE: Final = ("-wal", "-shm", "-journal")


class SiteThere(StorageProblem):
    """A restore never writes over a site."""


def lets_in(shape: Shape) -> bool:
    return "ended_at" in shape.columns and bool(SECRETS & shape.columns.keys())


def end_what_lets_in(connection: Connection, now: datetime) -> int:
    """Everybody is signed out, links and PINs end; passphrases stay. How many ended."""
    ended = 0
    for shape in shapes_of(connection):
        if lets_in(shape):
            table = shape.table()
            still = update(table).where(table.c.ended_at.is_(None))
            ended += connection.execute(still.values(ended_at=now)).rowcount
    return ended


def make_room(file: Path) -> None:
    """Raise SiteThere unless nothing is there, or a site that nobody was added to.

    Of such a one the journals go; NotSound while somebody has it open.
    """
    away = (
        f"Nothing was restored: restore into a new folder with --data, or stop the "
        f"site and move {file} away first."
    )
    if not file.exists():
        for end in BESIDE:
            left = file.with_name(f"{file.name}{end}")
            if left.exists():
                raise SiteThere(f"{left} was left by another database. {away}")
        return
    try:
        with closing(sqlite3.connect(file, isolation_level=None)) as there:
            used = _is_used(there)
    except sqlite3.DatabaseError as fault:
        raise SiteThere(f"{file} cannot be read ({fault}). {away}") from fault
    if used:
        raise SiteThere(f"There is a site in {file.parent} already. {away}")
    _let_go(file)


def _is_used(there: sqlite3.Connection) -> bool:
    tables = {row[0] for row in there.execute("SELECT name FROM sqlite_master")}
    if not tables:
        return False
    if not {"person", "patient"} <= tables:
        return True
    return any(
        there.execute(f"SELECT 1 FROM {name} LIMIT 1").fetchone()
        for name in ("person", "patient")
    )


def _let_go(file: Path) -> None:
    """The journal can be given up only where nobody else has the file open."""
    with closing(sqlite3.connect(file, isolation_level=None)) as there:
        try:
            (mode,) = there.execute("PRAGMA journal_mode = DELETE").fetchone()
        except sqlite3.OperationalError:
            mode = "wal"
    if mode != "delete":
        raise NotSound(
            f"A site that nobody was added to yet is being served from {file.parent}. "
            "Nothing was restored: stop it first."
        )


def refuse_unless_sound(engine: Engine) -> None:
    """What SQLite itself says of a file that is about to become the site."""
    raw = engine.raw_connection()
    try:
        made: Any = raw.driver_connection
        (found,) = made.execute("PRAGMA integrity_check(1)").fetchone()
        astray = made.execute("PRAGMA foreign_key_check").fetchone()
        made.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    finally:
        raw.close()
    if found != "ok" or astray is not None:
        raise NotSound("The restored database is not sound, so it was not kept.")
