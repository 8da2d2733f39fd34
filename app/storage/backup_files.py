"""The backups in a folder: their names, which of them go, and how the last try went.

A backup has its name only when it is whole; what was cut off keeps the ending `.part`.
Only backups that were made by themselves ever go: whoever makes one by hand keeps it.
"""

import json
import re
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final
from uuid import uuid4

from app.storage.errors import StorageProblem
from app.storage.files import Held, held

NAME: Final = re.compile(r"tapeline-(\d{8}T\d{6}Z)(-auto)?\.backup", re.ASCII)
WRITTEN: Final = "%Y%m%dT%H%M%SZ"
HALF: Final = ".part"
#: Beside the newest ones, the newest of each of so many days and weeks stays.
DAYS: Final = 7
WEEKS: Final = 8
LOCK: Final = "backups.lock"
TRIED: Final = "backups.json"
MARK: Final = "backups-of.txt"


class BackupRunning(StorageProblem):
    """Two at once would only stand in each other's way."""

    sentence = "A backup of this site is being made right now. Nothing was done."


class FolderOfAnother(StorageProblem):
    """Two sites would drop each other's backups."""


@dataclass(frozen=True, slots=True)
class BackupFile:
    """A whole backup by its name."""

    path: Path
    made_at: datetime
    by_itself: bool


@dataclass(frozen=True, slots=True)
class Tried:
    """When a backup was last tried by itself, and why it failed; empty: it did not."""

    at: datetime
    failed: str


def name_of(made_at: datetime, *, by_itself: bool) -> str:
    auto = "-auto" if by_itself else ""
    return f"tapeline-{made_at.astimezone(UTC):{WRITTEN}}{auto}.backup"


def backups_in(folder: Path) -> list[BackupFile]:
    """Whole backups, the newest first; none where there is no such folder."""
    if not folder.is_dir():
        return []
    found = [
        BackupFile(path, _read(named[1]), bool(named[2]))
        for path in folder.iterdir()
        if (named := NAME.fullmatch(path.name)) and _is_instant(named[1])
    ]
    return sorted(found, key=lambda file: (file.made_at, file.path.name), reverse=True)


def _read(text: str) -> datetime:
    return datetime.strptime(text, WRITTEN).replace(tzinfo=UTC)


def _is_instant(text: str) -> bool:
    try:
        _read(text)
    except ValueError:
        return False
    return True


def halves_in(folder: Path) -> list[Path]:
    """What a backup left that was cut off by force."""
    if not folder.is_dir():
        return []
    ended = (path for path in folder.iterdir() if path.name.endswith(HALF))
    return sorted(p for p in ended if NAME.fullmatch(p.name.removesuffix(HALF)))


def to_drop(files: Sequence[BackupFile], keep: int, now: datetime) -> list[BackupFile]:
    """Which of those made by themselves may go.

    There stay: the `keep` newest; of each of the latest 7 days that have one, the
    newest; of each of the latest 8 weeks, Monday to Sunday, the newest. All in UTC.
    One that bears a later time than now was made by a clock that was ahead: it stays,
    and takes nobody's place.
    """
    made = (f for f in until(files, now) if f.by_itself)
    own = sorted(made, key=_made_at, reverse=True)
    stay = set(own[:keep])
    days: dict[object, BackupFile] = {}
    weeks: dict[object, BackupFile] = {}
    for file in own:
        days.setdefault(file.made_at.date(), file)
        weeks.setdefault(file.made_at.isocalendar()[:2], file)
    stay |= {*list(days.values())[:DAYS], *list(weeks.values())[:WEEKS]}
    return [file for file in own if file not in stay]


def until(files: Iterable[BackupFile], now: datetime) -> list[BackupFile]:
    """Without those that bear a later time than now."""
    return [file for file in files if file.made_at <= now]


def own_files(folder: Path, data_dir: Path) -> tuple[list[BackupFile], list[Path]]:
    """This site's whole backups, the newest first, and what was cut off.

    None where the folder is another site's, or cannot be read: the try itself will say
    what is wrong there.
    """
    try:
        if is_ours(folder, data_dir):
            return backups_in(folder), halves_in(folder)
    except OSError:
        pass
    return [], []


def is_ours(folder: Path, data_dir: Path) -> bool:
    """No other site makes its backups there by itself."""
    return _mark_in(folder) in (None, _mark_in(data_dir))


def claim(folder: Path, data_dir: Path) -> None:
    """Make sure that no other site makes its backups there by itself.

    Two would take each other's for their own, and drop them. A mark in the folder says
    whose it is; it lies in the data folder too and in no backup, so that a site which
    was restored elsewhere has another. Raise FolderOfAnother.
    """
    if not is_ours(folder, data_dir):
        raise FolderOfAnother(
            f"{folder} holds the backups of another site. Nothing was done: name "
            "another folder in TAPELINE_BACKUP_DIR, or, if that site is no more, take "
            f"the file {MARK} away from there."
        )
    mark = _mark_in(data_dir) or uuid4().hex
    for each in (data_dir, folder):
        if _mark_in(each) is None:
            _write_whole(each / MARK, mark)


def _mark_in(folder: Path) -> str | None:
    """None where there is none, or an empty one."""
    path = folder / MARK
    return (path.read_text().strip() if path.exists() else "") or None


def _made_at(file: BackupFile) -> datetime:
    return file.made_at


def is_due(last: datetime | None, every: timedelta, now: datetime) -> bool:
    """Also when the last one bears a later time than now: a clock was set back."""
    return last is None or not timedelta(0) <= now - last < every


@contextmanager
def only_one(data_dir: Path) -> Iterator[None]:
    """Nobody else makes a backup meanwhile, in this process or another.

    Raise BackupRunning at once. The lock goes with its process, however that ends.
    """
    data_dir.mkdir(mode=0o700, parents=True, exist_ok=True)
    try:
        with held(data_dir / LOCK):
            yield
    except Held as fault:
        raise BackupRunning from fault


def note_try(data_dir: Path, tried: Tried) -> None:
    """For the desk and `doctor`."""
    told = {"at": tried.at.isoformat(), "failed": tried.failed}
    _write_whole(data_dir / TRIED, json.dumps(told))


def _write_whole(path: Path, text: str) -> None:
    """Written whole, or left as it was."""
    half = path.with_name(f"{path.name}{HALF}")
    half.write_text(text)
    half.replace(path)


def last_try(data_dir: Path) -> Tried | None:
    try:
        told = json.loads((data_dir / TRIED).read_text())
        return Tried(datetime.fromisoformat(told["at"]), str(told["failed"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None
