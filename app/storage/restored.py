"""A site that was restored: whether there is room for it, and who it still lets in."""

from contextlib import closing
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from sqlalchemy import URL, Connection, Engine, update

from app.storage.cipher import connect, driver_of, file_of
from app.storage.errors import NotSound, StorageProblem
from app.storage.site_lines import Shape, shapes_of

#: A row with one of these, and an end, is something that lets somebody in: a sign-in, a
#: link that works once, a phone with a PIN.
SECRETS: Final = frozenset({"token_hash", "key_hash", "secret_hash"})
#: Lie beside a SQLite file while it is in use.
BESIDE: Final = ("-wal", "-shm", "-journal")
#: What a restore is making, until it is whole.
MAKING: Final = ".restoring"


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


def make_room(address: URL) -> None:
    """Raise SiteThere unless nothing is there, or a site that nobody was added to.

    Of such a one the journals go; NotSound while somebody has it open. An encrypted one
    is read with the address's key.
    """
    file = file_of(address)
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
        with closing(connect(address)) as there:
            used = _is_used(there)
    except (driver_of(address).DatabaseError, NotSound) as fault:
        raise SiteThere(f"{file} cannot be read ({fault}). {away}") from fault
    if used:
        raise SiteThere(f"There is a site in {file.parent} already. {away}")
    _let_go(address)


def _is_used(there: Any) -> bool:
    tables = {row[0] for row in there.execute("SELECT name FROM sqlite_master")}
    if not tables:
        return False
    if not {"person", "patient"} <= tables:
        return True
    return any(
        there.execute(f"SELECT 1 FROM {name} LIMIT 1").fetchone()
        for name in ("person", "patient")
    )


def _let_go(address: URL) -> None:
    if _is_open(address):
        where = file_of(address).parent
        raise NotSound(
            f"A site that nobody was added to yet is being served from {where}. "
            "Nothing was restored: stop it first."
        )


def _is_open(address: URL, path: Path | None = None) -> bool:
    """The journal can be given up only where nobody else has the file open."""
    with closing(connect(address, path)) as there:
        there.isolation_level = None
        try:
            (mode,) = there.execute("PRAGMA journal_mode = DELETE").fetchone()
        except driver_of(address).OperationalError:
            return True
    return bool(mode != "delete")


def made_beside(file: Path) -> Path:
    """Under which name a restore makes what becomes this file."""
    return file.with_name(f"{file.name}{MAKING}")


def sweep(making: Path) -> None:
    for end in ("", *BESIDE):
        making.with_name(f"{making.name}{end}").unlink(missing_ok=True)


def forget_unfinished(address: URL) -> None:
    """Take away what a restore left that was killed; one that still runs keeps it."""
    making = made_beside(file_of(address))
    if not making.exists():
        return
    try:
        in_use = _is_open(address, making)
    except (driver_of(address).DatabaseError, NotSound):
        in_use = (
            False  # made with another key, or never whole: nobody can go on with it
        )
    if not in_use:
        sweep(making)


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
