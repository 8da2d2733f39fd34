"""A SQLite site that is made where none is: under another name until it is whole.

Two at once would put each other's half-made file in place, so one holds a lock.
"""

import os
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any, Final

from sqlalchemy import URL

from app.storage.cipher import connect, driver_of, file_of
from app.storage.errors import NotSound, StorageProblem
from app.storage.files import Held, held, sync_folder

#: Lie beside a SQLite file while it is in use.
BESIDE: Final = ("-wal", "-shm", "-journal")
#: What is being made, until it is whole, and the lock of whoever makes it.
MAKING: Final = ".restoring"
LOCK: Final = ".lock"


class SiteThere(StorageProblem):
    """What makes a site never writes over one."""


@contextmanager
def made_whole(address: URL) -> Iterator[str]:
    """The address to make it at; it becomes the site at the end of the block, or goes.

    What is there is a whole database with nobody connected by then. Raise SiteThere
    when a site is in its place, or is being made; NotSound when what was made is not.
    """
    file = file_of(address)
    folder_there = file.parent.exists()
    file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    try:
        with held(_lock_of(file), keep=False):
            yield from _made_beside(address, file)
    except Held as fault:
        raise SiteThere(
            f"A site is being restored or imported into {file.parent} already. Nothing "
            "was done: wait for it, or stop it and begin again."
        ) from fault
    except BaseException:
        if not folder_there:
            with suppress(OSError):  # not empty, or never made
                file.parent.rmdir()
        raise


def _made_beside(address: URL, file: Path) -> Iterator[str]:
    making = made_beside(file)
    _sweep(making)  # of one that was killed
    make_room(address)
    try:
        making.touch(mode=0o600)
        # With the same key, where there is one.
        yield address.set(database=str(making)).render_as_string(hide_password=False)
        _refuse_unless_sound(address, making)
        make_room(address)  # once more: some time went by
        with making.open("r+b") as written:
            os.fsync(written.fileno())
        making.replace(file)
        sync_folder(file.parent)
    except BaseException:
        _sweep(making)
        raise


def make_room(address: URL) -> None:
    """Raise SiteThere unless nothing is there, or a site that nobody was added to.

    Of such a one the journals go; NotSound while somebody has it open. An encrypted one
    is read with the address's key.
    """
    file = file_of(address)
    away = (
        f"Nothing was done: name a new folder with --data, or stop the site and move "
        f"{file} away first."
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
            "Nothing was done: stop it first."
        )


def _is_open(address: URL) -> bool:
    """The journal can be given up only where nobody else has the file open."""
    with closing(connect(address)) as there:
        there.isolation_level = None
        try:
            (mode,) = there.execute("PRAGMA journal_mode = DELETE").fetchone()
        except driver_of(address).OperationalError:
            return True
    return bool(mode != "delete")


def made_beside(file: Path) -> Path:
    """Under which name what becomes this file is made."""
    return file.with_name(f"{file.name}{MAKING}")


def _lock_of(file: Path) -> Path:
    return file.with_name(f"{made_beside(file).name}{LOCK}")


def _sweep(making: Path) -> None:
    for end in ("", *BESIDE):
        making.with_name(f"{making.name}{end}").unlink(missing_ok=True)


def forget_unfinished(address: URL) -> None:
    """Take away what was left by one that was killed; one that still runs keeps it."""
    file = file_of(address)
    if not made_beside(file).exists():
        return
    try:
        with held(_lock_of(file), keep=False):
            _sweep(made_beside(file))
    except Held:
        return


def _refuse_unless_sound(address: URL, making: Path) -> None:
    """What SQLite itself says of a file that is about to become the site."""
    with closing(connect(address, making)) as made:
        (found,) = made.execute("PRAGMA integrity_check(1)").fetchone()
        astray = made.execute("PRAGMA foreign_key_check").fetchone()
        made.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    if found != "ok" or astray is not None:
        raise NotSound("The database that was made is not sound, so it was not kept.")
