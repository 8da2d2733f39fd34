"""Files a command leaves behind: whole under their name or not at all."""

import os
from collections.abc import Iterable
from pathlib import Path


def save(path: Path, parts: Iterable[bytes]) -> None:
    """Write a file that is for its owner's eyes only."""
    half = path.with_name(f"{path.name}.part")
    half.unlink(missing_ok=True)
    handle = os.open(half, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with open(handle, "wb") as file:
        file.writelines(parts)
    half.replace(path)


def save_lines(path: Path, lines: Iterable[str]) -> None:
    save(path, (line.encode() for line in lines))
