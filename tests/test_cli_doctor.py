"""`tapeline doctor`: finds what raw SQL damaged, by its row, and changes nothing."""

import hashlib
import json
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from sqlmodel import Session, col, select

from app.catalogue.load import catalogue
from app.cli import main
from app.commands.demo_folder import DATABASE
from app.commands.doctor_checks import CHECKS, Examined, copies, folder
from app.commands.shares import filesystem_of
from app.settings import Settings
from app.storage.database import make_engine, read_session
from app.storage.patients import Patient
from app.storage.trials import Round
from app.web.judging import judge
from app.web.rejudging import judged_all
from tests.built_demo import CopyDemo

Capture = pytest.CaptureFixture[str]


@pytest.fixture(scope="module")
def sound_site(tmp_path_factory: pytest.TempPathFactory, copy_demo: CopyDemo) -> Path:
    """The demo's database, built once by the program's own deeds."""
    data = tmp_path_factory.mktemp("demo")
    copy_demo(data / DATABASE)
    return data


@pytest.fixture
def data(sound_site: Path, tmp_path: Path) -> Path:
    made = tmp_path / "site"
    made.mkdir(mode=0o700)
    shutil.copy(sound_site / DATABASE, made)
    return made


def harm(data: Path, *statements: str) -> None:
    """As somebody at the file would, past every rule of the program."""
    with closing(sqlite3.connect(data / DATABASE)) as connection, connection:
        connection.execute("PRAGMA ignore_check_constraints = ON")
        for statement in statements:
            connection.execute(statement)


def ask(data: Path, statement: str) -> object:
    with closing(sqlite3.connect(data / DATABASE)) as connection:
        (value,) = connection.execute(statement).fetchone()
    return value


def told(data: Path, capsys: Capture, *options: str) -> tuple[int, dict[str, str]]:
    """The exit code, and what is amiss by check."""
    capsys.readouterr()
    code = main(["doctor", "--json", "--data", str(data), *options])
    out = json.loads(capsys.readouterr().out)
    assert out["sound"] == (code == 0)
    return code, {
        check["check"]: "; ".join(amiss["says"] for amiss in check["amiss"])
        for check in out["checks"]
        # How backups stand is no matter of the database: test_backup_clock.
        if check["state"] != "sound" and check["check"] != "backups"
    }


def test_sound_site_passes_and_stays_as_it_is(data: Path, capsys: Capture) -> None:
    before = hashlib.sha256((data / DATABASE).read_bytes()).hexdigest()

    assert told(data, capsys) == (0, {})
    assert hashlib.sha256((data / DATABASE).read_bytes()).hexdigest() == before
    assert {path.name for path in data.iterdir()} <= {
        DATABASE, f"{DATABASE}-wal", f"{DATABASE}-shm",
    }  # fmt: skip


def test_every_check_has_its_line(data: Path, capsys: Capture) -> None:
    assert main(["doctor", "--data", str(data)]) == 0

    lines = capsys.readouterr().out.splitlines()
    told = [line for line in lines if not line.startswith("  ")]
    assert [line.rsplit(None, 1) for line in told] == [
        [check.name, "warning" if check.word == "backups" else "sound"]
        for check in CHECKS
    ]
    (said,) = (line for line in lines if line.startswith("  "))
    assert said.startswith("  No backups are made.")


def test_flipped_byte_in_the_audit_trail_is_found(data: Path, capsys: Capture) -> None:
    harm(
        data,
        "UPDATE audit_entry SET hash = (CASE WHEN substr(hash, 1, 1) = 'a' THEN 'b' "
        "ELSE 'a' END) || substr(hash, 2) WHERE id = 17",
    )

    code, amiss = told(data, capsys)
    assert code == 1
    assert list(amiss) == ["audit"]
    assert "entry 17 " in amiss["audit"]


@pytest.mark.parametrize(
    ("column", "to"),
    [
        ("value", "'9' || substr(value, 2)"),
        ("lead_crossed", "NOT coalesce(lead_crossed, 0)"),
        ("change_verdict", "'made up'"),
        ("lead_says", "'fine'"),
        ("on_date", "'2001-01-01'"),
    ],
)
def test_changed_score_is_found_by_its_round(
    data: Path, capsys: Capture, column: str, to: str
) -> None:
    round_id = ask(data, "SELECT round_id FROM score WHERE value > '1' AND value < '2'")
    harm(data, f"UPDATE score SET {column} = {to} WHERE round_id = {round_id}")

    code, amiss = told(data, capsys)
    assert code == 1
    assert list(amiss) == ["scores"]
    assert amiss["scores"].startswith(f"round {round_id} (")
    assert column in amiss["scores"]


def test_lost_and_invented_scores_are_found(data: Path, capsys: Capture) -> None:
    lost = ask(data, "SELECT min(round_id) FROM score")
    kept = ask(data, "SELECT max(round_id) FROM score")
    harm(
        data,
        f"DELETE FROM score WHERE round_id = {lost}",
        "UPDATE trial SET voided_at = recorded_at, voided_by = recorded_by, "
        f"void_reason = 'x' WHERE round_id = {kept}",
    )

    _, amiss = told(data, capsys)
    assert f"round {lost} " in amiss["scores"]
    assert "lacks the score" in amiss["scores"]
    assert f"round {kept} " in amiss["scores"]
    assert "trials do not make" in amiss["scores"]


def test_rebuild_makes_scores_sound_again(data: Path, capsys: Capture) -> None:
    harm(data, "UPDATE score SET value = '99.9' WHERE outcome = 'completed'")

    assert told(data, capsys)[0] == 1
    assert told(data, capsys, "--rebuild") == (0, {})
    assert told(data, capsys) == (0, {})


def test_rebuild_writes_nothing_into_a_broken_site(data: Path, capsys: Capture) -> None:
    harm(
        data,
        "UPDATE score SET value = '99.9' WHERE outcome = 'completed'",
        "UPDATE audit_entry SET subject_id = 77 WHERE id = 5",
    )
    code = main(["doctor", "--data", str(data), "--rebuild"])

    assert code == 1
    assert "Nothing was rebuilt: audit chain first." in capsys.readouterr().err
    assert ask(data, "SELECT count(*) FROM score WHERE value = '99.9'") != 0


def test_older_edition_is_a_warning(data: Path, capsys: Capture) -> None:
    harm(data, "UPDATE score SET edition = 'older', lead_says = 'as it was read then'")
    harm(data, "UPDATE score SET outcome = 'unable' WHERE id = 1")

    code, amiss = told(data, capsys)
    assert code == 0
    assert "another edition" in amiss["scores"]


def test_stray_reference_is_found(data: Path, capsys: Capture) -> None:
    harm(data, "UPDATE assignment SET person_id = 999 WHERE id = 1")

    code, amiss = told(data, capsys)
    assert (code, amiss["references"]) == (
        1, "assignment 1 points at a person that is not there",
    )  # fmt: skip


def test_damaged_trial_is_told_and_the_rest_still_read(
    data: Path, capsys: Capture
) -> None:
    patient = ask(data, "SELECT patient_id FROM score WHERE unit = 'in' LIMIT 1")
    harm(
        data,
        "UPDATE trial SET raw_value = 'x' WHERE raw_value IS NOT NULL AND round_id IN "
        f"(SELECT round_id FROM score WHERE patient_id = {patient})",
    )

    code, amiss = told(data, capsys)
    assert code == 1
    assert f"the trials of patient {patient} fail to read" in amiss["scores"]


def test_overwritten_page_of_the_file_is_found(data: Path, capsys: Capture) -> None:
    with (data / DATABASE).open("r+b") as raw:
        raw.seek(4096 * 3)
        raw.write(b"\xff" * 4096)

    code, amiss = told(data, capsys)
    assert code == 1
    assert "file" in amiss


def test_file_that_is_no_database_is_broken(data: Path, capsys: Capture) -> None:
    (data / DATABASE).write_bytes(b"nothing of the kind " * 500)

    code, amiss = told(data, capsys)
    assert code == 1
    assert "not a database" in amiss["file"]


def test_older_schema_is_a_warning_and_its_rows_are_left(
    data: Path, capsys: Capture
) -> None:
    harm(data, "UPDATE alembic_version SET version_num = '0001'")

    code, amiss = told(data, capsys)
    assert code == 0
    assert amiss["schema"].startswith("version 0001")
    assert {"audit", "scores"} <= set(amiss)


def test_newer_schema_is_broken_for_this_program(data: Path, capsys: Capture) -> None:
    harm(data, "UPDATE alembic_version SET version_num = '9999'")

    code, amiss = told(data, capsys)
    assert code == 1
    assert "newer version" in amiss["schema"]


def test_open_folder_is_a_warning(data: Path, capsys: Capture) -> None:
    data.chmod(0o755)

    code, amiss = told(data, capsys)
    assert code == 0
    assert "everybody on this machine" in amiss["folder"]


def test_network_folder_is_a_warning(
    data: Path, capsys: Capture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    mounts = tmp_path / "mounts"
    mounts.write_text(f"/dev/sda / ext4 rw 0 0\nward:/share {data} nfs4 rw 0 0\n")
    monkeypatch.setattr("app.commands.shares.MOUNTS", mounts)

    code, amiss = told(data, capsys)
    assert code == 0
    assert "network file system (nfs4)" in amiss["folder"]


def test_network_folder_is_that_of_the_database_wherever_it_is(
    data: Path, capsys: Capture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    mounts, share = tmp_path / "mounts", tmp_path / "share"
    share.mkdir()
    shutil.move(data / DATABASE, share)
    mounts.write_text(f"/dev/sda / ext4 rw 0 0\nward:/share {share} nfs4 rw 0 0\n")
    monkeypatch.setattr("app.commands.shares.MOUNTS", mounts)
    monkeypatch.setenv("TAPELINE_DATABASE_URL", f"sqlite:///{share / DATABASE}")
    _, amiss = told(data, capsys)
    url = "postgresql+psycopg://me@127.0.0.1/ward"
    elsewhere = Settings(data_dir=share, database_url=url)

    assert f"{share} lies on a network file system (nfs4)" in amiss["folder"]
    share.chmod(0o700)
    engine = make_engine(f"sqlite:///{share / DATABASE}")
    assert not list(folder(Examined(elsewhere, engine, catalogue())))


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("/srv/site", "ext4"),
        ("/mnt/share/site", "cifs"),
        ("/mnt/share2/site", "ext4"),
        ("/mnt/two words/x", "nfs"),
        ("/mnt/share/local/site", "xfs"),
    ],
)
def test_longest_mount_point_counts(path: str, kind: str) -> None:
    mounts = (
        "/dev/sda / ext4 rw 0 0\n//w/s /mnt/share cifs rw 0 0\n"
        "/dev/b /mnt/share/local xfs rw 0 0\nw:/t /mnt/two\\040words nfs rw 0 0\n"
    )

    assert filesystem_of(Path(path), mounts) == kind


def test_folder_without_a_site_is_bad_input(tmp_path: Path, capsys: Capture) -> None:
    nowhere = tmp_path / "nowhere"

    assert main(["doctor", "--data", str(nowhere)]) == 2
    assert "there is no site" in capsys.readouterr().err
    assert not nowhere.exists()


@pytest.fixture
def session(data: Path) -> Iterator[Session]:
    engine = make_engine(f"sqlite:///{data / DATABASE}")
    with read_session(engine) as session:
        yield session
    engine.dispose()


def test_judging_all_at_once_says_what_judging_one_says(session: Session) -> None:
    shelf, seen = catalogue(), 0
    for patient in session.exec(select(Patient).order_by(col(Patient.id))).all():
        for each in judged_all(session, shelf, patient):
            round = session.get_one(Round, each.round.id)
            seen += 1

            assert each == judge(session, shelf, patient, round)
    assert seen > 20


def test_copies_and_halves_of_the_site_are_named(data: Path, capsys: Capture) -> None:
    backups = data / "backups"
    backups.mkdir()
    copy = backups / "before-upgrade-of-0033-20260301T120000000000Z.sqlite"
    shutil.copy(data / DATABASE, copy)
    assert told(data, capsys) == (0, {})  # it is told, and nothing is amiss
    assert main(["doctor", "--data", str(data)]) == 0
    assert f"{copy} is the site before an upgrade" in capsys.readouterr().out

    half = data / f"{DATABASE}.restoring"
    shutil.copy(data / DATABASE, half)
    (backups / f"{copy.name}.part").touch()
    code, amiss = told(data, capsys)
    assert code == 0
    assert f"{half} is part of a site" in amiss["copies"]
    assert f"{copy.name}.part is part of a site" in amiss["copies"]


def test_copy_in_clear_beside_an_encrypted_site_is_a_warning(
    data: Path, tmp_path: Path
) -> None:
    """Only the first bytes are looked at: what encrypts need not be installed."""
    key, backups = tmp_path / "key", data / "backups"
    key.write_text("0f" * 32)
    key.chmod(0o600)
    backups.mkdir()
    names = [f"before-upgrade-of-0033-2026030{n}T120000000000Z.sqlite" for n in (1, 2)]
    shutil.copy(data / DATABASE, backups / names[0])
    (backups / names[1]).write_bytes(bytes(range(256)))
    settings = Settings(data_dir=data, database_key_file=key, site_timezone="UTC")
    site = Examined(settings, make_engine(f"sqlite:///{data / DATABASE}"), catalogue())

    warned = [amiss.says for amiss in copies(site) if amiss.level == "warning"]
    assert len(warned) == 1
    assert f"{names[0]} is not encrypted" in warned[0]


def test_lock_that_is_off_is_a_warning(
    data: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TAPELINE_IDLE_MINUTES", "0")
    assert "TAPELINE_IDLE_MINUTES is 0" in told(data, capsys)[1]["lock"]


@pytest.mark.parametrize("command", ["backup", "doctor", "export", "people"])
def test_site_that_is_not_there_is_not_made_by_asking(
    tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    file = tmp_path / "elsewhere.sqlite"
    monkeypatch.setenv("TAPELINE_DATABASE_URL", f"sqlite:///{file}")
    more = {"export": ["--out", str(tmp_path / "out")], "people": ["list"]}
    rest = more.get(command, [])
    given = [command, *rest, "--data", str(tmp_path)]

    assert main(given) == 2
    assert f"there is no site in {file} yet" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []
