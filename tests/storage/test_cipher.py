"""A database file that is encrypted as a whole: its key, and what lies beside it."""

import importlib.util
import sys
from pathlib import Path

import pytest
from sqlalchemy import Engine
from starlette.testclient import TestClient

from app.cli import main
from app.commands import demo
from app.main import create_app
from app.settings import NOT_A_FILE, Settings, SettingsProblem
from app.storage import sealed, upgrade
from app.storage.cipher import NO_KEY, NOT_INSTALLED, WRONG_KEY
from app.storage.database import SOUND, make_engine, migrate, write_session
from app.storage.errors import NotSound
from app.storage.sealed import Cost
from tests.make import make_patient, make_person
from tests.storage.copied_site import contents_of

KEY, OTHER = "0f" * 32, "AB" * 32
LABEL = "Plain Heron"
Capture = pytest.CaptureFixture[str]
installed = pytest.mark.skipif(
    importlib.util.find_spec("sqlcipher3") is None,
    reason="the [encrypted] extra is not installed",
)


@pytest.fixture
def key_file(tmp_path: Path) -> Path:
    path = tmp_path / "key"
    path.write_text(f"{KEY}\n")
    path.chmod(0o600)
    return path


def settings_of(data: Path, **given: object) -> Settings:
    return Settings.read({"data_dir": data, "site_timezone": "UTC", **given})


def words_in(folder: Path) -> dict[str, bool]:
    """Every file, and whether somebody's label can be read in it."""
    files = [path for path in folder.rglob("*") if path.is_file()]
    return {path.name: LABEL.encode() in path.read_bytes() for path in files}


def add_patient(engine: Engine, label: str = LABEL) -> None:
    with write_session(engine) as session:
        me = make_person(session, f"of {label}")
        make_patient(session, me, label=label)


@installed
def test_nothing_can_be_read_on_the_disk(tmp_path: Path, key_file: Path) -> None:
    """Not in the file, nor its journal, nor the copy before an upgrade."""
    data = tmp_path / "site"
    settings = settings_of(data, database_key_file=key_file)
    engine = make_engine(settings.database)
    with upgrade.changing_schema(engine) as connection:
        upgrade.to_revision(connection, "0029")
        connection.exec_driver_sql(f"CREATE TABLE said AS SELECT '{LABEL}' AS words")
    migrate(engine, data / "backups")
    add_patient(engine)

    found = words_in(data)
    assert len(found) == 4, "the file, two beside it, the copy"
    assert not any(found.values())
    with engine.connect() as connection:
        for pragma, wanted in SOUND.items():
            asked = connection.exec_driver_sql(f"PRAGMA {pragma}")
            assert asked.scalar_one() == wanted
    (copy,) = (data / "backups").iterdir()
    address = settings_of(data, database_url=f"sqlite:///{copy}", database_key=KEY)
    copied = make_engine(address.database)
    with copied.connect() as connection:
        assert upgrade.revision_of(connection) == "0029"
        said = connection.exec_driver_sql("SELECT words FROM said").scalar_one()
        assert said == LABEL
    copied.dispose()
    engine.dispose()


@installed
def test_another_key_or_none_is_told_so(
    tmp_path: Path, built_file: Path, capfd: Capture
) -> None:
    right = settings_of(tmp_path, database_key=KEY)
    engine = make_engine(right.database)
    add_one = engine.connect()
    add_one.exec_driver_sql("CREATE TABLE t (i)")
    add_one.commit()
    add_one.close()
    engine.dispose()
    before = (tmp_path / "tapeline.sqlite").read_bytes()
    plain = f"sqlite:///{built_file}"

    for given, says in (
        ({"database_key": OTHER}, WRONG_KEY),
        ({}, NO_KEY),
        ({"database_key": KEY, "database_url": plain}, WRONG_KEY),
    ):
        engine = make_engine(settings_of(tmp_path, **given).database)
        with pytest.raises(NotSound) as told, engine.connect():
            pass
        assert told.value.sentence == says
        engine.dispose()
    assert (tmp_path / "tapeline.sqlite").read_bytes() == before
    assert main(["doctor", "--data", str(tmp_path)]) == 1
    said = capfd.readouterr()
    assert NO_KEY in said.out
    assert "Traceback" not in said.err
    assert KEY not in said.out + said.err


@installed
def test_backup_of_a_plain_site_becomes_an_encrypted_one(
    tmp_path: Path, key_file: Path, built_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And is served, backed up and restored like any other."""
    plain, locked, path = tmp_path / "plain", tmp_path / "locked", tmp_path / "b"
    plain.mkdir()
    (plain / "tapeline.sqlite").write_bytes(built_file.read_bytes())
    engine = make_engine(settings_of(plain).database)
    add_patient(engine)
    engine.dispose()
    monkeypatch.setenv("TAPELINE_BACKUP_PASSPHRASE", "a heron beside the mill")
    monkeypatch.setattr(sealed, "USUAL", Cost(time=1, memory_kib=128, lanes=1))
    assert main(["backup", "--data", str(plain), "--to", str(path)]) == 0
    monkeypatch.setenv("TAPELINE_DATABASE_KEY_FILE", str(key_file))
    assert main(["restore", str(path), "--data", str(locked)]) == 0
    assert main(["backup", "--data", str(locked)]) == 0

    assert words_in(plain)["tapeline.sqlite"]
    assert not any(words_in(locked).values())
    with TestClient(create_app(settings_of(locked))) as client:
        assert client.get("/healthz", headers={"host": "localhost:8765"}).is_success
        engine = make_engine(settings_of(locked).database)
        assert contents_of(engine)["patient"].rows == 1
        engine.dispose()


@installed
def test_restore_into_an_encrypted_site_that_nobody_was_added_to(
    tmp_path: Path, key_file: Path, monkeypatch: pytest.MonkeyPatch, capfd: Capture
) -> None:
    """It is read with its key: there is room until somebody is added."""
    new, path = tmp_path / "new", tmp_path / "b"
    monkeypatch.setenv("TAPELINE_DATABASE_KEY_FILE", str(key_file))
    monkeypatch.setenv("TAPELINE_BACKUP_PASSPHRASE", "a heron beside the mill")
    monkeypatch.setattr(sealed, "USUAL", Cost(time=1, memory_kib=128, lanes=1))
    for data in (tmp_path / "old", new):
        engine = make_engine(settings_of(data).database)
        migrate(engine, None)
        if data != new:
            add_patient(engine)
        engine.dispose()
    assert main(["backup", "--data", str(tmp_path / "old"), "--to", str(path)]) == 0

    assert main(["restore", str(path), "--data", str(new)]) == 0
    assert main(["restore", str(path), "--data", str(new)]) == 2
    assert "There is a site in" in capfd.readouterr().err
    monkeypatch.delenv("TAPELINE_DATABASE_KEY_FILE")
    assert main(["restore", str(path), "--data", str(new)]) == 2
    assert NO_KEY in capfd.readouterr().err


def test_key_for_a_server_is_refused(tmp_path: Path, key_file: Path) -> None:
    """It would encrypt nothing there, and who set it would think that it did."""
    server = "postgresql+psycopg://ward@db.example.org/ward"
    for key in ({"database_key": KEY}, {"database_key_file": key_file}):
        with pytest.raises(SettingsProblem) as refused:
            settings_of(tmp_path / "site", database_url=server, **key)
        assert NOT_A_FILE in refused.value.sentence
        assert KEY not in refused.value.sentence


@installed
def test_demo_is_made_afresh_whatever_key_is_set(
    tmp_path: Path, key_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A key is the real site's; a demo that it locked could not be told for one."""
    monkeypatch.setenv("TAPELINE_DATABASE_KEY_FILE", str(key_file))
    monkeypatch.setattr(demo, "fill_demo", lambda _site: None)
    monkeypatch.setattr(
        demo, "run_server", lambda app, _door: app.state.site.engine.dispose()
    )
    given = ["demo", "--port", "0", "--data", str(tmp_path / "demo")]

    assert [main(given), main(given)] == [0, 0]


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"database_key": "0f" * 31}, "a key is 64 hexadecimal digits"),
        ({"database_key": "four tired horses rest"}, "a key is 64 hexadecimal digits"),
        ({"database_key_file": "short"}, "a key is 64 hexadecimal digits"),
        ({"database_key_file": "open"}, "others may read it: chmod 600"),
        ({"database_key_file": "none"}, "it cannot be read"),
        ({"database_key_file": "site/key"}, "keep it outside the data folder"),
    ],
)
def test_key_that_cannot_be_used(
    given: dict[str, str], says: str, tmp_path: Path
) -> None:
    (tmp_path / "site").mkdir()
    for name, text, mode in (
        ("short", "0f", 0o600), ("open", KEY, 0o644), ("site/key", KEY, 0o600),
    ):  # fmt: skip
        (tmp_path / name).write_text(text)
        (tmp_path / name).chmod(mode)
    of_file = "database_key_file" in given
    value = {k: str(tmp_path / v) if of_file else v for k, v in given.items()}

    with pytest.raises(SettingsProblem) as refused:
        settings_of(tmp_path / "site", **value)
    assert says in refused.value.sentence
    assert of_file or given["database_key"] not in refused.value.sentence


def test_key_is_shown_nowhere(tmp_path: Path) -> None:
    settings = settings_of(tmp_path, database_key=KEY, backup_passphrase="not for you")

    assert KEY not in repr(settings)
    assert "not for you" not in repr(settings)


def test_without_the_extra_a_key_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Never a database in clear where somebody asked for an encrypted one."""
    monkeypatch.setitem(sys.modules, "sqlcipher3.dbapi2", None)

    with pytest.raises(NotSound) as told:
        make_engine(settings_of(tmp_path, database_key=KEY).database)
    assert told.value.sentence == NOT_INSTALLED
    assert not (tmp_path / "tapeline.sqlite").exists()
