"""Backup and restore as people run them: a site in use, a file, and a site again."""

import shutil
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import Engine, make_url
from sqlmodel import Session, col, select

from app.catalogue.load import catalogue
from app.cli import main
from app.commands import backing_up
from app.commands.backing_up import back_up, opened
from app.commands.demo_folder import DATABASE, MARKER
from app.commands.doctor_checks import Examined, backups
from app.settings import Settings
from app.storage import audit, links, people, sealed, upgrade
from app.storage.audit import AuditEntry, in_silence
from app.storage.backup_files import only_one
from app.storage.checkup import looking_engine
from app.storage.database import make_engine, read_session, write_session
from app.storage.devices import Device, add_device, pair
from app.storage.errors import NotSound
from app.storage.links import OneTimeLink
from app.storage.people import SignIn, check_passphrase
from app.storage.restored import lets_in
from app.storage.sealed import Cost
from app.storage.site_archive import Manifest, archive_in
from app.storage.site_file import forget_unfinished, made_whole, make_room
from app.storage.site_lines import shapes_of
from app.storage.trials import Trial
from tests.cluster import SERVER, own_schema
from tests.conftest import person_by
from tests.live import ROOT, environment
from tests.make import (
    NOW,
    PASSPHRASE,
    make_episode,
    make_patient,
    make_round,
    make_visit,
)
from tests.storage.copied_site import contents_of
from tests.storage.writer import record_one

Capture = pytest.CaptureFixture[str]
SECRET = "a heron beside the mill"
CHEAP = Cost(time=1, memory_kib=128, lanes=1)
#: What a restore itself changes: it ends PINs, and notes that it did.
CHANGED = {"audit_entry", "audit_head", "device"}


@pytest.fixture(autouse=True)
def _passphrase(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TAPELINE_BACKUP_PASSPHRASE", SECRET)
    monkeypatch.setattr(sealed, "USUAL", CHEAP)


@contextmanager
def site_in(data: Path) -> Iterator[Engine]:
    engine = make_engine(f"sqlite:///{data / DATABASE}")
    yield engine
    engine.dispose()


@pytest.fixture(scope="module")
def ward(built_database: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A site with a round to add trials to, and all that lets somebody in."""
    data = tmp_path_factory.mktemp("ward")
    with (
        closing(sqlite3.connect(built_database)) as here,
        closing(sqlite3.connect(data / DATABASE)) as there,
    ):
        here.backup(there)
    with site_in(data) as engine, write_session(engine) as session:
        me = person_by(session, "therapist")
        patient = make_patient(session, me, label="Zoë 名")
        make_round(
            session, me, make_visit(session, me, make_episode(session, me, patient))
        )
        people.start_sign_in(session, me, datetime.now(UTC))
        links.make_link(session, "passphrase", person=me, by=me, now=datetime.now(UTC))
        add_device(session, me, pair("918273"), old_key="", now=NOW)
    return data


@pytest.fixture(scope="module")
def kept(ward: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One backup of it, made cheaply."""
    path = tmp_path_factory.mktemp("kept") / "ward.backup"
    with site_in(ward) as engine, pytest.MonkeyPatch.context() as patched:
        patched.setattr(sealed, "USUAL", CHEAP)
        back_up(engine, path, SECRET, now=datetime.now(UTC), progress=in_silence)
    return path


@pytest.fixture
def data(ward: Path, tmp_path: Path) -> Path:
    """The site again, for a test that changes it."""
    made = tmp_path / "site"
    made.mkdir(mode=0o700)
    shutil.copy(ward / DATABASE, made)
    return made


def restore(path: Path, data: Path) -> int:
    return main(["restore", str(path), "--data", str(data)])


def manifest_of(path: Path) -> Manifest:
    with opened(path, SECRET) as (_, packed), archive_in(packed) as archive:
        return archive.manifest


def refusal(capsys: Capture) -> str:
    """The one line that a refused command leaves."""
    told = capsys.readouterr()
    assert told.out == ""
    (line,) = told.err.splitlines()
    return line


def held(folder: Path) -> set[str]:
    return {path.name for path in folder.rglob("*")} if folder.exists() else set()


@contextmanager
def somebody_writes(engine: Engine) -> Iterator[list[str]]:
    """One trial after the other, each told only after its commit."""
    told: list[str] = []
    enough = threading.Event()

    def write() -> None:
        while not enough.is_set():
            with write_session(engine) as session:
                uid = record_one(session)
            told.append(uid)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        yield told
    finally:
        enough.set()
        writer.join()


def test_drill(data: Path, tmp_path: Path, capsys: Capture) -> None:
    """A backup while somebody writes, and the site from it: the README's own steps."""
    with site_in(data) as engine, somebody_writes(engine) as told:
        while len(told) < 3:
            time.sleep(0.01)
        before = list(told)
        assert main(["backup", "--data", str(data)]) == 0
        assert len(told) > len(before), "nobody wrote meanwhile"
    (path,) = (data / "backups").iterdir()
    assert path.stat().st_mode & 0o777 == 0o600
    new, snapshot = tmp_path / "new", manifest_of(path)
    assert restore(path, new) == 0
    said = capsys.readouterr()

    assert snapshot.sha256 in said.out
    assert held(new) == {DATABASE}
    assert (new / DATABASE).stat().st_mode & 0o777 == 0o600
    with site_in(new) as engine, read_session(engine) as session:
        found = contents_of(engine)
        assert {name for name in found if found[name] != snapshot.counted[name]} == (
            CHANGED
        )
        uids = list(session.exec(select(Trial.uid).order_by(col(Trial.id))))
        assert uids == told[: len(uids)]
        assert uids[: len(before)] == before
        assert_nobody_is_let_in(session)
        assert audit.verify(session) is None
        deeds = list(session.exec(select(AuditEntry.deed).order_by(col(AuditEntry.id))))
        assert deeds[-1] == "restored_site"
        assert "backed_up_site" in deeds
        assert check_passphrase(session, "therapist", PASSPHRASE)


def assert_nobody_is_let_in(session: Session) -> None:
    for table in (SignIn, OneTimeLink, Device):
        ended = list(session.exec(select(table.ended_at)))
        assert ended
        assert None not in ended


def test_every_table_that_lets_in_is_known(ward: Path) -> None:
    """A new one with an end and a hash has to be looked at: it may let somebody in."""
    with site_in(ward) as engine, read_session(engine) as session:
        shapes = shapes_of(session.connection())
    may = {
        s.name for s in shapes
        if "ended_at" in s.columns and any(c.endswith("_hash") for c in s.columns)
    }  # fmt: skip

    assert {s.name for s in shapes if lets_in(s)} == may - {"home_sheet"}


def test_nothing_readable_lies_beside_a_backup(
    data: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of the site's words none is in the file, and no other file was made for it."""
    seen: set[str] = set()
    real = sealed.seal

    def look(*given: object) -> None:
        seen.update(held(tmp_path))
        real(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(backing_up, "seal", look)
    assert main(["backup", "--data", str(data), "--to", str(tmp_path / "a.bak")]) == 0

    assert {name for name in seen if not name.startswith(DATABASE)} == {
        "site", "backups.lock", "a.bak.part",
    }  # fmt: skip
    made = (tmp_path / "a.bak").read_bytes()
    for word in ("Zoë 名".encode(), b"therapist", b"PK\x03\x04", b"timed_up_and_go"):
        assert word not in made


class TestRefusedBackup:
    def test_weak_or_missing_passphrase(
        self, data: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setenv("TAPELINE_BACKUP_PASSPHRASE", "seven77")
        assert main(["backup", "--data", str(data)]) == 2
        assert "shorter than 8" in refusal(capsys)
        monkeypatch.setenv("TAPELINE_BACKUP_PASSPHRASE", "eight888")
        assert main(["backup", "--data", str(data)]) == 0
        assert "Caution: the passphrase is weak" in capsys.readouterr().err
        monkeypatch.delenv("TAPELINE_BACKUP_PASSPHRASE")
        assert main(["backup", "--data", str(data)]) == 2
        assert "set TAPELINE_BACKUP_PASSPHRASE" in refusal(capsys)

    def test_passphrase_file_that_others_may_read(
        self, data: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        key = data.parent / "key"
        key.write_text(f"{SECRET}\n")
        key.chmod(0o640)
        monkeypatch.delenv("TAPELINE_BACKUP_PASSPHRASE")
        monkeypatch.setenv("TAPELINE_BACKUP_PASSPHRASE_FILE", str(key))
        assert main(["backup", "--data", str(data)]) == 2
        assert "others may read it: chmod 600" in refusal(capsys)
        key.chmod(0o600)
        assert main(["backup", "--data", str(data), "--to", str(key.parent)]) == 0
        (made,) = key.parent.glob("*.backup")
        assert manifest_of(made)

    def test_no_site_taken_name_or_no_folder(
        self, data: Path, tmp_path: Path, capsys: Capture
    ) -> None:
        assert main(["backup", "--data", str(tmp_path / "none")]) == 2
        assert "there is no site in" in refusal(capsys)
        there = tmp_path / "there"
        there.write_bytes(b"mine")
        assert main(["backup", "--data", str(data), "--to", str(there)]) == 2
        assert "is there already: choose another name" in refusal(capsys)
        assert there.read_bytes() == b"mine"
        nowhere = tmp_path / "no" / "a"
        assert main(["backup", "--data", str(data), "--to", str(nowhere)]) == 2
        assert "No such file or directory" in refusal(capsys)

    def test_one_at_a_time(self, data: Path, capsys: Capture) -> None:
        with only_one(data):
            assert main(["backup", "--data", str(data)]) == 2
        assert "being made right now" in refusal(capsys)

    def test_what_reads_otherwise_gets_no_name(
        self, data: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """As if the disk had kept other bytes than it was given."""
        real = sealed.seal

        def spoil(file: object, *rest: object) -> None:
            real(file, *rest)  # type: ignore[arg-type]
            file.seek(-20, 2)  # type: ignore[attr-defined]
            file.write(b"x")  # type: ignore[attr-defined]

        monkeypatch.setattr(backing_up, "seal", spoil)

        assert main(["backup", "--data", str(data)]) == 2
        assert "cut off or altered" in refusal(capsys)
        assert held(data / "backups") == set()


class TestRefusedRestore:
    def test_damaged_files_leave_nothing(
        self, kept: Path, tmp_path: Path, capsys: Capture,
        monkeypatch: pytest.MonkeyPatch,
    ) -> None:  # fmt: skip
        whole, spoilt = kept.read_bytes(), tmp_path / "spoilt"
        flipped = bytearray(whole)
        flipped[-40] ^= 1
        for made, says in (
            (whole[:-1], "cut off or altered"),
            (whole[:9], "no backup made by Tapeline"),
            (whole + b"\0", "cut off or altered"),
            (bytes(flipped), "cut off or altered"),
            (b"", "no backup made by Tapeline"),
        ):
            spoilt.write_bytes(made)
            assert restore(spoilt, tmp_path / "new") == 2
            line = refusal(capsys)
            assert says in line
            assert "Nothing was restored." in line
        monkeypatch.setenv("TAPELINE_BACKUP_PASSPHRASE", "another one altogether")
        assert restore(kept, tmp_path / "new") == 2
        assert "passphrase does not open this backup" in refusal(capsys)
        assert restore(tmp_path / "none", tmp_path / "new") == 2
        assert "there is no such file" in refusal(capsys)
        assert held(tmp_path) == {"spoilt"}

    def test_into_a_site_that_is_there(
        self, kept: Path, data: Path, capsys: Capture
    ) -> None:
        before = (data / DATABASE).read_bytes()

        assert restore(kept, data) == 2
        line = refusal(capsys)
        assert "There is a site in" in line
        assert "name a new folder with --data, or stop the site" in line
        assert (data / DATABASE).read_bytes() == before
        (data / DATABASE).write_bytes(b"something else" * 100)
        assert restore(kept, data) == 2
        assert "cannot be read" in refusal(capsys)
        (data / MARKER).touch()
        assert restore(kept, data) == 2
        assert "holds a demo site" in refusal(capsys)

    def test_beside_the_journal_of_another(
        self, kept: Path, tmp_path: Path, capsys: Capture
    ) -> None:
        """It would be played into the restored database."""
        (tmp_path / f"{DATABASE}-wal").write_bytes(b"pages")

        assert restore(kept, tmp_path) == 2
        assert "was left by another database" in refusal(capsys)
        assert held(tmp_path) == {f"{DATABASE}-wal"}

    def test_site_that_nobody_was_added_to(self, tmp_path: Path) -> None:
        """Room for a restore, once nobody serves it any more."""
        path = tmp_path / DATABASE
        address = make_url(f"sqlite:///{path}")
        with closing(sqlite3.connect(path, isolation_level=None)) as served:
            served.execute("PRAGMA journal_mode = WAL")
            served.execute("CREATE TABLE person (id)")
            served.execute("CREATE TABLE patient (id)")
            with pytest.raises(NotSound, match="is being served from"):
                make_room(address)
        make_room(address)

        assert held(tmp_path) == {DATABASE}

    def test_second_one_into_the_same_folder_is_refused(
        self, kept: Path, tmp_path: Path, capsys: Capture
    ) -> None:
        new = tmp_path / "new"
        with made_whole(make_url(f"sqlite:///{new / DATABASE}")) as theirs:
            assert restore(kept, new) == 2
            assert "is being restored or imported into" in refusal(capsys)
            with closing(sqlite3.connect(make_url(theirs).database or "")) as made:
                made.execute("CREATE TABLE person (id)")
                made.execute("CREATE TABLE patient (id)")

        assert held(new) == {DATABASE}
        assert restore(kept, new) == 0
        assert held(new) == {DATABASE}

    def test_full_disk_names_no_file_and_says_what_to_do(
        self, kept: Path, tmp_path: Path, capsys: Capture,
        monkeypatch: pytest.MonkeyPatch,
    ) -> None:  # fmt: skip
        def refuse(*_given: object) -> None:
            raise OSError(28, "No space left on device")

        monkeypatch.setattr("app.storage.site_file._refuse_unless_sound", refuse)

        assert restore(kept, tmp_path / "new") == 2
        said = refusal(capsys)
        assert "No space left on device. Make room and try again" in said
        assert "None" not in said

    def test_fault_half_way_leaves_nothing(
        self, kept: Path, tmp_path: Path, capsys: Capture,
        monkeypatch: pytest.MonkeyPatch,
    ) -> None:  # fmt: skip
        def refuse(*_given: object) -> None:
            raise OSError(28, "No space left on device", "the disk")

        monkeypatch.setattr("app.storage.site_file._refuse_unless_sound", refuse)

        assert restore(kept, tmp_path / "new") == 2
        assert "No space left on device" in refusal(capsys)
        assert held(tmp_path) == set()


class TestVersions:
    def test_older_is_kept_as_it_is_and_brought_up_on_restoring(
        self, tmp_path: Path
    ) -> None:
        old, revision = tmp_path / "old", "0029"
        with site_in(old) as engine, upgrade.changing_schema(engine) as connection:
            upgrade.to_revision(connection, revision)
        assert main(["backup", "--data", str(old), "--to", str(tmp_path / "b")]) == 0
        with site_in(old) as engine, engine.connect() as connection:
            assert upgrade.revision_of(connection) == revision
        assert manifest_of(tmp_path / "b").about.schema_revision == revision

        assert restore(tmp_path / "b", tmp_path / "new") == 0
        with site_in(tmp_path / "new") as engine, engine.connect() as connection:
            assert upgrade.revision_of(connection) == upgrade.newest()

    def test_newer_is_refused(
        self, ward: Path, tmp_path: Path, capsys: Capture,
        monkeypatch: pytest.MonkeyPatch,
    ) -> None:  # fmt: skip
        path = tmp_path / "b"
        with monkeypatch.context() as patched, site_in(ward) as engine:
            patched.setattr(upgrade, "revision_of", lambda _: "9999")
            back_up(engine, path, SECRET, now=NOW, progress=in_silence)

        assert restore(path, tmp_path / "new") == 2
        assert "made by a newer version of Tapeline" in refusal(capsys)
        assert held(tmp_path) == {"b"}


@pytest.mark.skipif(not SERVER, reason="no PostgreSQL server is named")
def test_to_postgresql_and_back(
    kept: Path, tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    there, path = tmp_path / "there", tmp_path / "again"
    with own_schema() as address:
        monkeypatch.setenv("TAPELINE_DATABASE_URL", address)
        assert restore(kept, there) == 0
        assert restore(kept, there) == 2
        assert "The database holds something already" in capsys.readouterr().err
        assert main(["backup", "--data", str(there), "--to", str(path)]) == 0
        monkeypatch.delenv("TAPELINE_DATABASE_URL")
    assert restore(path, tmp_path / "back") == 0

    one, two = manifest_of(kept).counted, manifest_of(path).counted
    assert {name for name in one if one[name] != two[name]} == CHANGED


HALF_MADE = """
import sys, time
from app.cli import main
from app.storage import site_file
def stand_still(*_):
    print("half", flush=True)
    time.sleep(60)
site_file._refuse_unless_sound = stand_still
main([*sys.argv[2:], "--data", sys.argv[1]])
"""


@pytest.mark.parametrize("way", ["restore", "import"])
def test_start_takes_away_what_was_left_half_made(
    way: str, kept: Path, data: Path, tmp_path: Path
) -> None:
    """And leaves alone what one is still making."""
    new, archive = tmp_path / "new", tmp_path / "site.zip"
    assert main(["export", "--site", str(archive), "--data", str(data)]) == 0
    command = {
        "restore": ["restore", str(kept)],
        "import": ["import", "--site", str(archive)],
    }[way]
    settings = Settings(data_dir=new, site_timezone="UTC")
    child = subprocess.Popen(
        [sys.executable, "-c", HALF_MADE, str(new), *command], cwd=ROOT,
        env=environment(TAPELINE_BACKUP_PASSPHRASE=SECRET), stdout=subprocess.PIPE,
    )  # fmt: skip
    making = new / f"{DATABASE}.restoring"
    with child:
        assert child.stdout is not None
        assert child.stdout.readline() == b"half\n"
        forget_unfinished(make_url(settings.database))
        assert making.stat().st_mode & 0o777 == 0o600
        child.send_signal(signal.SIGKILL)
    assert making.exists()
    assert not (new / DATABASE).exists()

    forget_unfinished(make_url(settings.database))
    assert held(new) == set()
    assert main([*command, "--data", str(new)]) == 0
    assert held(new) >= {DATABASE}


LIGHT = """
import sys
from app.cli import main
assert main(["backup", "--data", sys.argv[1]]) == 0
print(*sys.modules)
"""


def test_backup_carries_no_pages_and_leaves_nothing_beside_it(data: Path) -> None:
    """What is not brought in takes no memory while one is made."""
    made = subprocess.run(
        [sys.executable, "-c", LIGHT, str(data)], cwd=ROOT, text=True, check=True,
        env=environment(TAPELINE_BACKUP_PASSPHRASE=SECRET), capture_output=True,
    )  # fmt: skip
    brought = made.stdout.splitlines()[-1].split()

    assert "app.commands.backing_up" in brought
    assert not {"fastapi", "jinja2", "uvicorn", "app.web.deps"} & set(brought)
    (path,) = (data / "backups").iterdir()
    assert manifest_of(path)


KILLED = """
import sys, time
from argparse import Namespace
from app.commands import backing_up, backup
def stand_still(*_):
    print("half", flush=True)
    time.sleep(60)
backing_up._read_back = stand_still
backup.run(Namespace(data_dir=sys.argv[1], to=None))
"""


def test_killed_half_way_leaves_the_last_good_one(data: Path) -> None:
    first = datetime.now(UTC) - timedelta(hours=1)
    folder = data / "backups"
    folder.mkdir()
    good = folder / f"tapeline-{first:%Y%m%dT%H%M%SZ}.backup"
    with site_in(data) as engine:
        back_up(engine, good, SECRET, now=first, progress=in_silence)
    child = subprocess.Popen(
        [sys.executable, "-c", KILLED, str(data)], cwd=ROOT, stdout=subprocess.PIPE,
        env=environment(TAPELINE_BACKUP_PASSPHRASE=SECRET),
    )  # fmt: skip
    with child:
        assert child.stdout is not None
        assert child.stdout.readline() == b"half\n"
        child.send_signal(signal.SIGKILL)
    (half,) = held(folder) - {good.name}

    says = "; ".join(a.says for a in backups(examined(data)))
    assert f"{half} was cut off while it was made" in says
    assert f"The last good one is of {first.day} {first:%b, %H:%M}" in says
    assert manifest_of(good)
    assert main(["backup", "--data", str(data)]) == 0
    assert half not in held(folder)
    assert good.name in held(folder)


def examined(data: Path) -> Examined:
    settings = Settings.read({"data_dir": data, "site_timezone": "UTC"})
    return Examined(settings, looking_engine(settings.database), catalogue())
