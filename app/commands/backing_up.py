"""Making one backup: the whole site as one moment saw it, encrypted, read back, named.

Nothing of it lies on the disk in clear. What is encrypted is the archive that
`export --site` makes, so that one kind of backup serves both kinds of database.
"""

import secrets
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from io import BufferedReader
from itertools import zip_longest
from pathlib import Path
from typing import BinaryIO, cast

from sqlalchemy import Engine
from sqlalchemy.exc import DBAPIError
from sqlalchemy.exc import TimeoutError as NoneFree

from app.catalogue.load import catalogue
from app.commands.opening import did
from app.commands.refused import Refused
from app.commands.saving import whole_file
from app.settings import Settings
from app.storage import upgrade
from app.storage.backup_files import (
    backups_in,
    claim,
    halves_in,
    is_ours,
    name_of,
    to_drop,
)
from app.storage.database import read_session, write_session
from app.storage.errors import NotSound
from app.storage.sealed import (
    Head,
    Sealer,
    Told,
    Unsealed,
    key_of,
    new_head,
    new_lock,
    read_head,
    seal,
    throwaway,
    unsealed,
)
from app.storage.site_archive import About, Manifest, Progress
from app.storage.site_copy import write_site
from app.version import VERSION


@dataclass(frozen=True, slots=True)
class Made:
    """A backup that was written and read back."""

    path: Path
    content: Manifest
    #: Whether the audit trail could be told; it cannot on a full disk.
    noted: bool


def back_up(
    engine: Engine,
    path: Path,
    passphrase: str,
    *,
    now: datetime,
    progress: Progress,
) -> Made:
    """Write one. What is there under that name already is never written over.

    The head tells the hash of all rows, so they are packed first, into a file without
    a name, under a key that is nowhere but here: twice the room, and little memory.
    """
    lock = new_lock(passphrase)
    noted = _noted(engine)
    with new_file(path) as file, _packing(path.parent) as packed:
        with read_session(engine) as session:
            connection = session.connection()
            found = upgrade.revision_of(connection)
            if found is None:
                raise NotSound(
                    "There is no site in this database. Nothing was written."
                )
            about = About(
                now, VERSION, catalogue().edition, found, connection.dialect.name
            )
            out = cast(BinaryIO, packed.sealer)  # it is only written to
            content = write_site(connection, out, about, progress)
        packed.sealer.finish()
        head = new_head(Told(now, VERSION, found, content.sha256), lock)
        seal(file, packed.chunks(), head, lock.key)
        _read_back(file, head, lock.key, packed)
    return Made(path, content, noted)


class Packed:
    """An archive between its rows and its backup, in a file without a name."""

    def __init__(self, file: BinaryIO) -> None:
        self._file = file
        self._frame, self._key = throwaway()
        self.sealer = Sealer(file, self._frame, self._key)

    def chunks(self) -> Iterator[bytes]:
        self._file.seek(0)
        return unsealed(self._file, self._frame, self._key)


@contextmanager
def _packing(folder: Path) -> Iterator[Packed]:
    """It goes with its process, however that ends."""
    with tempfile.TemporaryFile(dir=folder) as file:
        yield Packed(file)


def _noted(engine: Engine) -> bool:
    """Into the audit trail first, if it takes it: a backup may be the way out."""
    try:
        with write_session(engine) as session:
            did(session, "backed_up_site")
    except (DBAPIError, NoneFree):
        return False
    return True


@contextmanager
def new_file(path: Path) -> Iterator[BinaryIO]:
    """What is there already is never written over."""
    if path.exists():
        raise Refused(f"{path} is there already: choose another name")
    with whole_file(path) as file:
        yield file


def _read_back(file: BinaryIO, head: Head, key: bytes, packed: Packed) -> None:
    """What lies in the file is opened again and compared before it gets its name."""
    file.flush()
    file.seek(0)
    same = read_head(file).raw == head.raw and all(
        here is not None and there is not None and secrets.compare_digest(here, there)
        for here, there in zip_longest(unsealed(file, head, key), packed.chunks())
    )
    if not same:
        raise NotSound("The backup does not read as it was written. It was not kept.")


@contextmanager
def opened(path: Path, passphrase: str) -> Iterator[tuple[Head, BinaryIO]]:
    """What a backup holds, once every chunk of it was found as it was written."""
    with path.open("rb") as file:
        head = read_head(file)
        key, begins = key_of(head, passphrase), file.tell()
        for _ in unsealed(file, head, key):
            pass
        file.seek(begins)
        yield head, BufferedReader(Unsealed(file, head, key))


def back_up_into(
    settings: Settings,
    engine: Engine,
    folder: Path,
    passphrase: str,
    *,
    now: datetime,
    progress: Progress,
    by_itself: bool,
) -> Made:
    """Write one under the name of its time; hold `only_one` meanwhile.

    Then what was cut off earlier goes, and of those made by themselves the older ones.
    """
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    if by_itself:
        claim(folder, settings.data_dir)
    path = folder / name_of(now, by_itself=by_itself)
    made = back_up(engine, path, passphrase, now=now, progress=progress)
    if folder == settings.backups and is_ours(folder, settings.data_dir):
        for half in halves_in(folder):
            half.unlink(missing_ok=True)
    if by_itself:
        for file in to_drop(backups_in(folder), settings.backup_keep, now):
            file.path.unlink(missing_ok=True)
    return made
