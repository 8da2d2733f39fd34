"""Making one backup: the whole site as one moment saw it, encrypted, read back, named.

Nothing of it lies on the disk in clear. What is encrypted is the archive that
`export --site` makes, so that one kind of backup serves both kinds of database.
"""

import secrets
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from pathlib import Path
from typing import BinaryIO

from sqlalchemy import Engine
from sqlalchemy.exc import DBAPIError

from app.catalogue.load import catalogue
from app.commands.opening import did
from app.commands.refused import Refused
from app.commands.saving import whole_file
from app.settings import Settings
from app.storage import upgrade
from app.storage.backup_files import (
    backups_in,
    halves_in,
    name_of,
    to_drop,
)
from app.storage.database import read_session, write_session
from app.storage.errors import NotSound
from app.storage.sealed import (
    Head,
    Told,
    key_of,
    new_head,
    read_head,
    seal,
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

    The archive is held in memory, packed: some 30 bytes for each row of the site.
    """
    noted, packed = _noted(engine), BytesIO()
    with read_session(engine) as session:
        connection = session.connection()
        found = upgrade.revision_of(connection)
        if found is None:
            raise NotSound("There is no site in this database. Nothing was written.")
        about = About(now, VERSION, catalogue().edition, found, connection.dialect.name)
        content = write_site(connection, packed, about, progress)
    told = Told(now, VERSION, found, content.sha256)
    head, key = new_head(told, passphrase)
    with new_file(path) as file:
        packed.seek(0)
        seal(file, packed, head, key)
        _read_back(file, head, key, packed)
    return Made(path, content, noted)


def _noted(engine: Engine) -> bool:
    """Into the audit trail first, if it takes it: a backup may be the way out."""
    try:
        with write_session(engine) as session:
            did(session, "backed_up_site")
    except DBAPIError:
        return False
    return True


@contextmanager
def new_file(path: Path) -> Iterator[BinaryIO]:
    """What is there already is never written over."""
    if path.exists():
        raise Refused(f"{path} is there already: choose another name")
    with whole_file(path) as file:
        yield file


def _read_back(file: BinaryIO, head: Head, key: bytes, packed: BytesIO) -> None:
    """What lies in the file is opened again and compared before it gets its name."""
    file.flush()
    file.seek(0)
    packed.seek(0)
    same = read_head(file).raw == head.raw and all(
        secrets.compare_digest(chunk, packed.read(len(chunk)))
        for chunk in unsealed(file, head, key)
    )
    if not same or packed.read(1):
        raise NotSound("The backup does not read as it was written. It was not kept.")


def opened(path: Path, passphrase: str) -> tuple[Head, BytesIO]:
    """All of a backup in memory, once every chunk of it was found as it was written."""
    with path.open("rb") as file:
        head = read_head(file)
        chunks = unsealed(file, head, key_of(head, passphrase))
        return head, _joined(chunks)


def _joined(chunks: Iterable[bytes]) -> BytesIO:
    held = BytesIO()
    held.writelines(chunks)
    held.seek(0)
    return held


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
    path = folder / name_of(now, by_itself=by_itself)
    made = back_up(engine, path, passphrase, now=now, progress=progress)
    for half in halves_in(folder):
        half.unlink(missing_ok=True)
    if by_itself:
        for file in to_drop(backups_in(folder), settings.backup_keep):
            file.path.unlink(missing_ok=True)
    return made
