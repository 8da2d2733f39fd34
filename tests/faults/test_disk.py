"""A disk that is full, read-only, damaged, or busy: said in words, and nothing lost.

Each time pages that only read go on, a phone's outbox keeps what it sent, and the same
send is stored once when the fault is over.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from sqlalchemy import event

from app.cli import main
from app.storage import database
from tests.conftest import DATABASE, found
from tests.faults.conftest import Bedside, Open, as_somebody_else, fill_up
from tests.make import new_uid


def told(html: str) -> str:
    return " ".join(found(html, ".problem").text().split())


def refuses(bedside: Bedside, title: str, *words: str) -> str:
    """Sends a trial that cannot be stored; its id, which is not stored."""
    uid = new_uid()
    for by_script in (False, True):
        answer = bedside.send(uid, by_script=by_script)
        assert answer.status == 503
        assert answer.waits
        said = told(answer.text)
        assert said.startswith(title)
        assert all(word in said for word in (*words, "sent by itself"))
    return uid


def takes_it_once(bedside: Bedside, uid: str) -> None:
    before = len(bedside.stored())
    assert uid not in bedside.stored()
    for _ in range(2):
        answer = bedside.send(uid)
        assert answer.status == 303
        assert answer.headers["tapeline-saved"] == uid
    assert len(bedside.stored()) == before + 1


@contextmanager
def no_page_more(bedside: Bedside) -> Iterator[None]:
    """SQLite may not let its file grow: what it says is what it says of a full disk."""
    engine = bedside.site.engine

    def limit(connection: Any, _entry: object) -> None:
        pages = connection.execute("PRAGMA page_count").fetchone()[0]
        connection.execute(f"PRAGMA max_page_count = {pages}")

    engine.dispose()
    event.listen(engine, "connect", limit)
    yield
    event.remove(engine, "connect", limit)
    engine.dispose()


def test_file_that_cannot_grow_keeps_all_and_takes_it_later(bedside: Bedside) -> None:
    with no_page_more(bedside):
        acknowledged = []
        for _ in range(400):  # pages that are begun still have room
            uid = new_uid()
            if bedside.send(uid).status != 303:
                break
            acknowledged.append(uid)
        uid = refuses(bedside, "The disk is full", "still in the form")
        assert bedside.reads()

    assert set(acknowledged) <= set(bedside.stored())
    takes_it_once(bedside, uid)


def test_full_disk_keeps_all_and_takes_it_later(
    small_disk: Path, bedside_in: Open
) -> None:
    with bedside_in(small_disk) as bedside:
        kept = new_uid()
        assert bedside.send(kept).status == 303
        ballast = fill_up(small_disk)

        uid = refuses(bedside, "The disk is full", "no room left")
        assert bedside.reads()
        assert bedside.stored() == [kept]

        ballast.unlink()
        takes_it_once(bedside, uid)


def test_start_on_a_full_disk_says_so(
    small_disk: Path, bedside_in: Open, capsys: pytest.CaptureFixture[str]
) -> None:
    with bedside_in(small_disk):
        pass
    fill_up(small_disk)

    assert main(["people", "list", "--data", str(small_disk)]) == 2

    assert "The disk that holds the database is full." in capsys.readouterr().err


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """One that anybody may get into, unlike those of pytest."""
    with TemporaryDirectory(prefix="tapeline-read-only-") as name:
        Path(name).chmod(0o755)
        yield Path(name)


def test_files_that_may_only_be_read(
    open_folder: Path, bedside_in: Open, capsys: pytest.CaptureFixture[str]
) -> None:
    """As after a start by another user, or on a disk that was mounted to be read."""
    with bedside_in(open_folder) as bedside:
        for file in open_folder.glob(f"{DATABASE}*"):
            file.chmod(0o444)
        bedside.site.engine.dispose()
        with as_somebody_else():
            uid = refuses(bedside, "Saving is not possible", "read-only")
            bedside.site.engine.dispose()
            assert main(["people", "list", "--data", str(open_folder)]) == 2
        assert "the folder and all files in it belong" in capsys.readouterr().err

        for file in open_folder.glob(f"{DATABASE}*"):
            file.chmod(0o644)
        bedside.site.engine.dispose()
        takes_it_once(bedside, uid)


def test_another_program_that_writes_for_long(
    bedside: Bedside, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Longer than a save waits; who reads does not even notice."""
    monkeypatch.setattr(database, "LONGEST_WAIT_S", 0.2)
    bedside.site.engine.dispose()
    path = bedside.site.settings.data_dir / DATABASE
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")

        uid = refuses(bedside, "Busy at the moment", "Wait a minute")
        assert bedside.reads()

        other.execute("ROLLBACK")
    takes_it_once(bedside, uid)


def test_file_that_is_no_database_any_more(bedside: Bedside) -> None:
    path = bedside.site.settings.data_dir / DATABASE
    bedside.site.engine.dispose()
    whole = path.read_bytes()
    path.write_bytes(b"something else" + whole[14:])

    answer = bedside.send(new_uid())
    assert answer.waits
    assert told(answer.text).startswith("The database cannot be read")

    bedside.site.engine.dispose()
    path.write_bytes(whole)
    takes_it_once(bedside, new_uid())
