"""The folder of a demo site: how it is told from a real one, and emptied."""

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Final

from app.commands.refused import Refused

MARKER: Final = "this-is-a-demo-site.txt"
MARKER_SAYS: Final = (
    "Everybody in this folder's site is invented. `tapeline demo` made it and makes it "
    "afresh at each start: nothing in it lasts.\n"
)
DATABASE: Final = "tapeline.sqlite"


def is_demo_folder(folder: Path) -> bool:
    return (folder / MARKER).is_file()


def claim_folder(folder: Path) -> None:
    """Mark a folder as a demo's and empty it of the demo it held.

    Raise Refused, having touched nothing, when it holds anything else.
    """
    if folder.is_dir() and any(folder.iterdir()):
        if not is_demo_folder(folder) or _holds_real_rows(folder / DATABASE):
            raise Refused(
                f"{folder} holds something that `tapeline demo` did not make: choose "
                "an empty folder, or leave --data out"
            )
        for name in (DATABASE, f"{DATABASE}-wal", f"{DATABASE}-shm"):
            (folder / name).unlink(missing_ok=True)
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    (folder / MARKER).write_text(MARKER_SAYS)


def _holds_real_rows(database: Path) -> bool:
    """Whether anybody in a site is not invented; unreadable counts as real."""
    if not database.exists():
        return False
    try:
        with closing(sqlite3.connect(f"{database.as_uri()}?mode=ro", uri=True)) as site:
            made = site.execute("SELECT 1 FROM sqlite_master").fetchone()
            return made is not None and any(
                site.execute(f"SELECT 1 FROM {table} WHERE NOT is_demo").fetchone()
                for table in ("person", "patient")
            )
    except sqlite3.Error:
        return True
