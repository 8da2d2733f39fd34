"""Files beside a database: held by one process at a time, named for good."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO, Final

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl


class Held(Exception):
    """Somebody else holds it."""


@contextmanager
def held(path: Path, *, keep: bool = True) -> Iterator[None]:
    """Hold it for the block, in this process or none; raise Held at once.

    Unless kept, it goes at the end. A file system without locks raises its OSError.
    """
    with path.open("ab") as file:
        try:
            _lock(file)
        except TAKEN as fault:
            raise Held from fault
        if not _is_named(file, path):
            raise Held  # whoever held it took it away, and another may hold the next
        try:
            yield
        finally:
            if not keep:
                with suppress(PermissionError):  # Windows takes no open file away
                    path.unlink()


def _is_named(file: BinaryIO, path: Path) -> bool:
    try:
        return os.path.samestat(os.fstat(file.fileno()), path.stat())
    except FileNotFoundError:
        return False


if sys.platform == "win32":
    #: Somebody has it; anything else is a fault of the folder.
    TAKEN: Final = PermissionError

    def _lock(file: BinaryIO) -> None:
        file.seek(0)
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)

else:
    TAKEN: Final = BlockingIOError

    def _lock(file: BinaryIO) -> None:
        fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)


def sync_folder(folder: Path) -> None:
    """A name that was just given survives a loss of power."""
    if os.name != "posix":  # a folder cannot be opened elsewhere
        return
    opened = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(opened)
    finally:
        os.close(opened)
