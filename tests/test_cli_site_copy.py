"""`tapeline export --site` and `import --site`: whole and private, or one line."""

import os
import sqlite3
import zipfile
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlmodel import col, select

from app.catalogue.load import catalogue
from app.cli import main
from app.commands.demo_folder import DATABASE, MARKER
from app.settings import Settings
from app.storage.audit import AuditEntry, in_silence
from app.storage.database import make_engine, read_session, write_session
from app.storage.people import check_passphrase
from app.storage.site_archive import MANIFEST
from app.storage.trials import TrialBody
from app.web.judging import keep
from app.web.owing import rebuild_owed
from tests.cluster import SERVER, own_schema
from tests.make import (
    PASSPHRASE,
    make_episode,
    make_patient,
    make_person,
    make_round,
    make_trial,
    make_visit,
)

Capture = pytest.CaptureFixture[str]
NOW = datetime.now(UTC)


@pytest.fixture(scope="module")
def ward(built_database: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small real site with a score in it."""
    data = tmp_path_factory.mktemp("ward")
    with (
        closing(sqlite3.connect(built_database)) as here,
        closing(sqlite3.connect(data / DATABASE)) as there,
    ):
        here.backup(there)
    data.chmod(0o700)
    engine = make_engine(f"sqlite:///{data / DATABASE}")
    with write_session(engine) as session:
        me = make_person(session, "ward", now=NOW)
        patient = make_patient(session, me, label="Zoë 名", now=NOW)
        visit = make_visit(session, me, make_episode(session, me, patient), now=NOW)
        round = make_round(session, me, visit)
        make_trial(session, me, round, TrialBody(raw_ms=16_240))
        keep(session, catalogue(), patient, round, now=NOW)
    settings = Settings.read({"data_dir": data})
    today = datetime.now(settings.zone).date()
    rebuild_owed(engine, catalogue(), settings.clocks, today, in_silence)
    engine.dispose()
    return data


@pytest.fixture(scope="module")
def archive(ward: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("archive") / "ward.zip"
    assert export(ward, path) == 0
    return path


def export(data: Path, path: Path) -> int:
    return main(["export", "--site", str(path), "--data", str(data)])


def take_in(path: Path, data: Path, *options: str) -> int:
    return main(["import", "--site", str(path), "--data", str(data), *options])


def members(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def may_sign_in(data: Path, handle: str) -> bool:
    engine = make_engine(f"sqlite:///{data / DATABASE}")
    with read_session(engine) as session:
        person = check_passphrase(session, handle, PASSPHRASE)
    engine.dispose()
    return person is not None


def deeds(data: Path) -> list[str]:
    engine = make_engine(f"sqlite:///{data / DATABASE}")
    with read_session(engine) as session:
        wanted = select(AuditEntry.deed).order_by(col(AuditEntry.id))
        found = list(session.exec(wanted))
    engine.dispose()
    return found


class TestThereAndBack:
    def test_second_copy_differs_by_the_deeds_alone(
        self, archive: Path, tmp_path: Path, capsys: Capture
    ) -> None:
        new = tmp_path / "new"
        assert take_in(archive, new) == 0
        said = capsys.readouterr()
        assert export(new, tmp_path / "again.zip") == 0
        one, two = members(archive), members(tmp_path / "again.zip")

        assert {name for name in one if one[name] != two[name]} == {
            "tables/audit_entry.jsonl", "tables/audit_head.jsonl", MANIFEST,
        }  # fmt: skip
        assert one.keys() == two.keys()
        trail = "tables/audit_entry.jsonl"
        assert two[trail].startswith(one[trail])
        assert deeds(new)[-3:] == ["exported_site", "imported_site", "exported_site"]
        assert "rows of" in said.out
        assert "everybody is signed out" in said.out
        assert said.err == ""
        assert main(["doctor", "--data", str(new)]) == 0
        assert may_sign_in(new, "ward")

    @pytest.mark.skipif(not SERVER, reason="no PostgreSQL server is named")
    def test_to_postgresql_and_back(
        self, archive: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        with own_schema() as address:
            monkeypatch.setenv("TAPELINE_DATABASE_URL", address)
            assert take_in(archive, tmp_path / "none") == 0
            assert take_in(archive, tmp_path / "none") == 2
            assert export(tmp_path / "none", tmp_path / "two.zip") == 0
            monkeypatch.delenv("TAPELINE_DATABASE_URL")
        assert take_in(tmp_path / "two.zip", tmp_path / "back") == 0
        assert export(tmp_path / "back", tmp_path / "three.zip") == 0
        one, three = members(archive), members(tmp_path / "three.zip")

        assert {name for name in one if one[name] != three[name]} == {
            "tables/audit_entry.jsonl", "tables/audit_head.jsonl", MANIFEST,
        }  # fmt: skip


class TestExport:
    def test_file_is_for_its_owner_alone_and_that_is_said(
        self, ward: Path, tmp_path: Path, capsys: Capture
    ) -> None:
        before = os.umask(0)
        try:
            assert export(ward, tmp_path / "a.zip") == 0
        finally:
            os.umask(before)
        said = capsys.readouterr()

        assert (tmp_path / "a.zip").stat().st_mode & 0o777 == 0o600
        assert "as confidential as the site itself and is not encrypted" in said.err
        assert [p.name for p in tmp_path.iterdir()] == ["a.zip"]

    def test_nothing_is_written_over(
        self, ward: Path, tmp_path: Path, capsys: Capture
    ) -> None:
        (tmp_path / "a.zip").write_text("an older copy")

        assert export(ward, tmp_path / "a.zip") == 2
        assert "is there already" in one_line(capsys)
        assert (tmp_path / "a.zip").read_text() == "an older copy"

    @pytest.mark.parametrize("where", ["gone/a.zip", "file/a.zip"])
    def test_place_that_cannot_be_written_is_named(
        self, where: str, ward: Path, tmp_path: Path, capsys: Capture
    ) -> None:
        (tmp_path / "file").write_text("")

        assert export(ward, tmp_path / where) == 2
        assert where in one_line(capsys)

    def test_disk_that_fills_up_leaves_no_half_file(
        self,
        ward: Path,
        tmp_path: Path,
        capsys: Capture,
        monkeypatch: pytest.MonkeyPatch,
    ) -> None:
        def full(_file: int) -> None:
            raise OSError(28, "No space left on device")

        monkeypatch.setattr("app.commands.saving.os.fsync", full)

        assert export(ward, tmp_path / "a.zip") == 2
        assert "No space left" in one_line(capsys)
        assert list(tmp_path.iterdir()) == []

    def test_row_that_cannot_be_told_leaves_no_half_file(
        self, archive: Path, tmp_path: Path, capsys: Capture
    ) -> None:
        assert take_in(archive, tmp_path / "odd") == 0
        with closing(sqlite3.connect(tmp_path / "odd" / DATABASE)) as db, db:
            db.execute("PRAGMA ignore_check_constraints = ON")
            db.execute("UPDATE trial SET recorded_at = 'noon'")
        capsys.readouterr()

        assert export(tmp_path / "odd", tmp_path / "a.zip") == 2
        assert "A row of trial holds something" in one_line(capsys)
        assert [p.name for p in tmp_path.iterdir()] == ["odd"]

    def test_no_site_no_copy(self, tmp_path: Path, capsys: Capture) -> None:
        assert export(tmp_path, tmp_path / "a.zip") == 2
        assert "there is no site" in one_line(capsys)

    def test_one_has_to_say_what(self, ward: Path, capsys: Capture) -> None:
        for both in ([], ["--out", "x", "--site", "y"]):
            with pytest.raises(SystemExit) as ended:
                main(["export", "--data", str(ward), *both])
            assert ended.value.code == 2
            assert "--site" in one_line(capsys)


def one_line(capsys: Capture) -> str:
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("tapeline")
    assert said.err.count("\n") == 1
    return said.err


@pytest.fixture
def new(tmp_path: Path) -> Path:
    return tmp_path / "new"


class TestImport:
    def test_dry_run_reads_all_and_makes_nothing(
        self, archive: Path, new: Path, capsys: Capture
    ) -> None:
        assert take_in(archive, new, "--dry-run") == 0
        assert capsys.readouterr().out.startswith("Nothing was imported: a dry run.")
        assert not new.exists()

    def test_dry_run_says_that_there_is_a_site(
        self, archive: Path, ward: Path, capsys: Capture
    ) -> None:
        before = (ward / DATABASE).read_bytes()

        assert take_in(archive, ward, "--dry-run") == 2
        assert "There is a site already" in one_line(capsys)
        assert (ward / DATABASE).read_bytes() == before

    def test_site_is_never_added_to(
        self, archive: Path, new: Path, capsys: Capture
    ) -> None:
        assert take_in(archive, new) == 0
        capsys.readouterr()
        before = deeds(new)

        assert take_in(archive, new) == 2
        assert "There is a site already" in one_line(capsys)
        assert deeds(new) == before

    @pytest.mark.parametrize("options", [(), ("--dry-run",)])
    def test_damaged_archive_leaves_no_trace(
        self, options: tuple[str, ...], archive: Path, new: Path, tmp_path: Path,
        capsys: Capture,
    ) -> None:  # fmt: skip
        held = bytearray(archive.read_bytes())
        half, flipped = tmp_path / "half.zip", tmp_path / "flipped.zip"
        half.write_bytes(held[: len(held) // 2])
        with zipfile.ZipFile(archive) as zipped:
            info = zipped.getinfo("tables/trial.jsonl")
        held[info.header_offset + 30 + len(info.filename) + 60] ^= 1
        flipped.write_bytes(held)

        for path in (half, flipped):
            assert take_in(path, new, *options) == 2
            assert "Nothing was imported" in one_line(capsys)
            assert not new.exists()

    def test_failure_after_it_began_leaves_no_trace(
        self, archive: Path, new: Path, capsys: Capture,
        monkeypatch: pytest.MonkeyPatch,
    ) -> None:  # fmt: skip
        def full(*_given: object) -> None:
            raise OSError(28, "No space left on device", str(new))

        monkeypatch.setattr("app.commands.filling.did", full)

        assert take_in(archive, new) == 2
        assert "No space left" in one_line(capsys)
        assert not new.exists()

    @pytest.mark.parametrize(
        ("held", "says"), [(None, "No such file"), (b"label\n", "no whole zip")]
    )
    def test_other_files_are_refused(
        self, held: bytes | None, says: str, new: Path, tmp_path: Path, capsys: Capture
    ) -> None:
        path = tmp_path / "x.zip"
        if held is not None:
            path.write_bytes(held)

        assert take_in(path, new) == 2
        assert says in one_line(capsys)
        assert not new.exists()

    def test_nobody_real_goes_into_a_demo_folder(
        self, archive: Path, new: Path, capsys: Capture
    ) -> None:
        new.mkdir()
        (new / MARKER).write_text("")

        assert take_in(archive, new) == 2
        assert "holds a demo site" in one_line(capsys)

    def test_one_has_to_say_what(self, new: Path, capsys: Capture) -> None:
        assert main(["import", "--data", str(new)]) == 2
        assert "--site" in one_line(capsys)

    def test_whole_site_and_files_do_not_go_together(
        self, archive: Path, new: Path, capsys: Capture
    ) -> None:
        for more in (["a.csv"], ["--by", "boss"], ["--assign-to", "boss"]):
            assert (
                main(["import", "--site", str(archive), "--data", str(new), *more]) == 2
            )
            assert "--site stands alone" in one_line(capsys)
        assert not new.exists()


def test_what_was_wrong_before_is_carried_and_said(
    archive: Path, new: Path, tmp_path: Path, capsys: Capture
) -> None:
    """A backup that would not come back would help nobody."""
    assert take_in(archive, new) == 0
    with closing(sqlite3.connect(new / DATABASE)) as connection, connection:
        connection.execute("UPDATE score SET value = '99'")
        connection.execute("UPDATE audit_entry SET subject_id = 9 WHERE id = 3")
    assert export(new, tmp_path / "b.zip") == 0
    capsys.readouterr()

    assert take_in(tmp_path / "b.zip", tmp_path / "c") == 1
    said = capsys.readouterr()
    assert said.out.startswith("Imported the site")
    assert "stored otherwise than its trials" in said.err
    assert "entry 3 is not" in said.err
    assert "how it stood in the site that was copied" in said.err
