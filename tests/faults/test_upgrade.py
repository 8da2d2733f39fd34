"""An upgrade that is broken off leaves the old schema; the next start ends it.

And two that start at once do not meet: one upgrades, the other finds it done.
"""

import random
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import text

from app.storage import upgrade
from app.storage.database import make_engine, migrate
from app.storage.errors import NotSound
from tests.cluster import KINDS, own_database
from tests.faults.conftest import fill_up
from tests.live import LONGEST_S, ROOT, environment

#: The first schema that has everything a therapist needs in a day.
OLDER = "0012"


@pytest.fixture(params=KINDS)
def older(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """A database of an older version, with somebody in it."""
    if request.param == "postgresql":
        with own_database() as address:
            fill(address)
            yield address
    else:
        address = f"sqlite:///{tmp_path / 'tapeline.sqlite'}"
        fill(address)
        yield address


def fill(address: str) -> None:
    engine = make_engine(address)
    with upgrade.changing_schema(engine) as connection:
        upgrade.to_revision(connection, OLDER)
        connection.execute(text("CREATE TABLE kept (id INTEGER PRIMARY KEY)"))
        connection.execute(text("INSERT INTO kept VALUES (7)"))
    engine.dispose()


def revision(address: str) -> str | None:
    engine = make_engine(address)
    with engine.connect() as connection:
        assert connection.execute(text("SELECT id FROM kept")).scalars().all() == [7]
        found = upgrade.revision_of(connection)
    engine.dispose()
    return found


def upgrading(data: Path, address: str) -> subprocess.Popen[str]:
    program = str(Path(__file__).with_name("upgrading.py"))
    return subprocess.Popen(
        [sys.executable, program, str(data), address],
        cwd=ROOT,
        env=environment(PYTHONPATH=str(ROOT)),
        stdout=subprocess.PIPE,
        text=True,
    )


def test_killed_upgrade_leaves_the_older_schema_and_the_next_one_ends_it(
    older: str, tmp_path: Path
) -> None:
    killed = 0
    for wait_s in (0.02, random.Random(3).uniform(0.1, 0.4)):
        with upgrading(tmp_path, older) as process:
            assert process.stdout is not None
            assert process.stdout.readline() == "upgrading\n"
            time.sleep(wait_s)
            process.kill()
            killed += "done" not in process.stdout.read()
        assert revision(older) in (OLDER, upgrade.newest())
    assert killed
    # What of a copy was written before the kill does not look like a whole one.
    for copy in (tmp_path / "backups").glob("*.sqlite"):
        with closing(sqlite3.connect(copy)) as connection:
            assert connection.execute("PRAGMA quick_check").fetchone() == ("ok",)

    engine = make_engine(older)
    migrate(engine, tmp_path / "backups")
    engine.dispose()
    assert revision(older) == upgrade.newest()
    assert not list((tmp_path / "backups").glob(f"*{upgrade.HALF}"))


def test_two_starts_at_once_upgrade_once(older: str, tmp_path: Path) -> None:
    both = [upgrading(tmp_path, older) for _ in range(2)]
    said = [process.communicate(timeout=LONGEST_S)[0] for process in both]

    assert said == ["upgrading\ndone\n"] * 2
    assert revision(older) == upgrade.newest()
    if older.startswith("sqlite"):
        assert len(list((tmp_path / "backups").iterdir())) == 1


def test_no_room_for_the_copy_changes_nothing_and_says_so(small_disk: Path) -> None:
    address = f"sqlite:///{small_disk / 'tapeline.sqlite'}"
    fill(address)
    engine = make_engine(address)
    with engine.connect():  # its log is open, as in a site that was not stopped
        ballast = fill_up(small_disk)
        with pytest.raises(NotSound, match="could not be written"):
            migrate(engine, small_disk / "backups")
        assert not list(small_disk.glob("backups/*"))
        ballast.unlink()
    engine.dispose()
    assert revision(address) == OLDER
