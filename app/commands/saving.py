"""Files a command leaves behind: whole under their name or not at all."""

import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from app.storage.files import sync_folder


@contextmanager
def whole_file(path: Path) -> Iterator[BinaryIO]:
    """A file for its owner's eyes only; of one that fails half way nothing stays."""
    half = path.with_name(f"{path.name}.part")
    half.unlink(missing_ok=True)
    try:
        made = os.open(half, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600)
        # Readable too, so that a backup can be read back before it has its name.
        with open(made, "w+b") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        half.replace(path)
        sync_folder(path.parent)
    finally:
        half.unlink(missing_ok=True)


def save(path: Path, parts: Iterable[bytes]) -> None:
    with whole_file(path) as file:
        file.writelines(parts)


def save_lines(path: Path, lines: Iterable[str]) -> None:
    save(path, (line.encode() for line in lines))
