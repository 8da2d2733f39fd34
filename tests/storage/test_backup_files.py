"""Which backups stay, and when the next is due."""

import errno
from collections import Counter
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import BinaryIO

import pytest

from app.storage.backup_files import (
    MARK,
    BackupFile,
    BackupRunning,
    FolderOfAnother,
    Tried,
    backups_in,
    claim,
    halves_in,
    is_due,
    last_try,
    name_of,
    note_try,
    only_one,
    to_drop,
    until,
)

#: A Wednesday.
NOW = datetime(2026, 3, 4, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)


def made(hours_ago: float, *, by_itself: bool = True) -> BackupFile:
    at = NOW - hours_ago * HOUR
    return BackupFile(Path(name_of(at, by_itself=by_itself)), at, by_itself)


def stay(files: list[BackupFile], keep: int) -> list[BackupFile]:
    gone = to_drop(files, keep, max(file.made_at for file in files))
    return [file for file in files if file not in gone]


def test_newest_and_one_for_each_day_and_week_stay() -> None:
    """Hourly for a quarter: what is left after each new one is what is promised."""
    files: list[BackupFile] = []
    for hours_ago in range(91 * 24, -1, -1):
        files = stay([*files, made(hours_ago)], keep=24)
    days = Counter(file.made_at.date() for file in files)
    weeks = Counter(file.made_at.isocalendar()[:2] for file in files)

    assert files[-24:] == [made(hours_ago) for hours_ago in range(23, -1, -1)]
    assert len(days) == 7 + 6, "seven days, and the six weeks before those"
    assert len(weeks) == 8
    assert [d for d, n in days.items() if n > 1] == sorted(days)[-2:]
    sundays = [
        f.made_at for f in files if f.made_at.date() < NOW.date() - 6 * 24 * HOUR
    ]
    assert {(at.isoweekday(), at.hour) for at in sundays} == {(7, 23)}


def test_days_without_a_backup_count_for_nothing() -> None:
    """A laptop that slept for months still has seven days of backups."""
    monthly = [made(30 * 24 * n) for n in range(12, -1, -1)]

    assert stay(monthly, keep=1) == monthly[-8:]


def test_those_by_hand_never_go() -> None:
    by_hand = [made(hours, by_itself=False) for hours in range(50)]

    assert to_drop(by_hand, keep=1, now=NOW) == []
    assert stay([*by_hand, made(1), made(2), made(3)], keep=1) == [*by_hand, made(1)]


def test_backups_of_a_clock_that_was_ahead_take_nobodys_place() -> None:
    """Sixty days of the future: what was just made stays, and so do they."""
    ahead = [made(-24 * days) for days in range(1, 61)]
    own = [made(hours) for hours in range(30, -1, -1)]

    gone = to_drop([*ahead, *own], keep=3, now=NOW)
    assert not set(gone) & {*ahead, *own[-3:]}
    assert gone
    assert until([*ahead, *own], NOW) == own


def test_folder_of_backups_is_one_sites(tmp_path: Path) -> None:
    ward, copy, folder = (tmp_path / name for name in ("ward", "copy", "backups"))
    for each in (ward, copy, folder):
        each.mkdir()
    claim(folder, ward)
    claim(folder, ward)

    with pytest.raises(FolderOfAnother, match="TAPELINE_BACKUP_DIR"):
        claim(folder, copy)
    (folder / MARK).unlink()
    claim(folder, copy)
    assert (folder / MARK).read_text() == (copy / MARK).read_text()
    (folder / MARK).write_text("")  # a full disk once
    claim(folder, ward)
    assert (folder / MARK).read_text() == (ward / MARK).read_text()


def test_lock_that_cannot_be_had_is_no_running_backup(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(_file: BinaryIO) -> None:
        raise OSError(errno.ENOLCK, "No locks available")

    monkeypatch.setattr("app.storage.files._lock", refuse)
    with pytest.raises(OSError, match="No locks"), only_one(tmp_path):
        pass


@pytest.mark.parametrize(
    ("last", "due"),
    [(None, True), (0, False), (5.9, False), (6, True), (600, True), (-1, True)],
    ids=["never", "now", "just before", "at the hour", "long ago", "clock set back"],
)
def test_when_the_next_is_due(last: float | None, due: bool) -> None:
    at = None if last is None else NOW - last * HOUR

    assert is_due(at, 6 * HOUR, NOW) is due


def test_only_whole_backups_are_listed_newest_first(tmp_path: Path) -> None:
    wanted = [name_of(NOW, by_itself=False), name_of(NOW - HOUR, by_itself=True)]
    half = f"{name_of(NOW, by_itself=True)}.part"
    odd = ["before-upgrade-of-0001-x.sqlite", "tapeline-x.backup", "other.part",
           "tapeline-20269999T000000Z.backup"]  # fmt: skip
    for name in (*reversed(wanted), half, *odd):
        (tmp_path / name).touch()

    assert [file.path.name for file in backups_in(tmp_path)] == wanted
    assert [path.name for path in halves_in(tmp_path)] == [half]
    assert not backups_in(tmp_path / "none")
    assert not halves_in(tmp_path / "none")


def test_last_try_is_kept_and_a_spoilt_note_is_none(tmp_path: Path) -> None:
    assert last_try(tmp_path) is None
    note_try(tmp_path, Tried(NOW, "no space"))
    assert last_try(tmp_path) == Tried(NOW, "no space")
    (tmp_path / "backups.json").write_text("[1")
    assert last_try(tmp_path) is None


def test_only_one_at_a_time(tmp_path: Path) -> None:
    with only_one(tmp_path), pytest.raises(BackupRunning), only_one(tmp_path):
        pass
    with only_one(tmp_path):
        pass
