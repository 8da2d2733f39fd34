"""Files of an export: whole under their name or not at all, for their owner alone."""

import os
from collections.abc import Iterable
from pathlib import Path


def save(path: Path, lines: Iterable[str]) -> None:
    """Write beside it first, so that a broken export leaves no half file."""
    half = path.with_name(f"{path.name}.part")
    half.unlink(missing_ok=True)
    with open(os.open(half, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w",
              encoding="utf-8", newline="") as file:  # fmt: skip
        file.writelines(lines)
    half.replace(path)
