"""A served site backs itself up: one worker at a time, and loudly when it cannot."""

import sqlite3
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy.exc import OperationalError
from starlette.testclient import TestClient

from app.catalogue.load import catalogue
from app.commands import backing_up, backup_clock
from app.commands.backup_clock import BackupClock, due
from app.commands.doctor_checks import Amiss, Examined, backups
from app.main import create_app
from app.settings import Settings
from app.storage import sealed
from app.storage.backup_files import (
    MARK,
    FolderOfAnother,
    backups_in,
    last_try,
    name_of,
)
from app.storage.errors import NoRoom
from app.storage.sealed import Cost
from app.web.backup_state import NONE_MADE, backup_trouble, start_words
from app.web.deps import Site
from tests.conftest import Clock

SECRET = "a heron beside the mill"


@pytest.fixture
def settings(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> Settings:
    """Every six hours into a folder of its own."""
    monkeypatch.setattr(sealed, "USUAL", Cost(time=1, memory_kib=128, lanes=1))
    return Settings(
        data_dir=settings.data_dir, site_timezone="UTC", backup_passphrase=SECRET,
        backup_every_hours=6, backup_dir=settings.data_dir / "disk", backup_keep=2,
        idle_minutes=0,
    )  # fmt: skip


def made(settings: Settings) -> list[str]:
    return [file.path.name for file in backups_in(settings.backups)]


def doctor(site: Site) -> list[Amiss]:
    return list(backups(Examined(site.settings, site.engine, catalogue())))


def test_one_is_made_when_it_is_due_and_by_one_worker(site: Site, clock: Clock) -> None:
    one, other = BackupClock(site), BackupClock(site)
    expected = [name_of(clock(), by_itself=True)]
    one.turn()
    other.turn()
    clock.move(hours=5.9)
    one.turn()
    assert made(site.settings) == expected
    clock.move(hours=0.1)
    other.turn()

    assert made(site.settings) == [name_of(clock(), by_itself=True), *expected]
    tried = last_try(site.settings.data_dir)
    assert tried is not None
    assert (tried.at, tried.failed) == (clock(), "")


def test_old_ones_go_and_those_by_hand_stay(site: Site, clock: Clock) -> None:
    """Of yesterday's the newest stays beside the two newest of all."""
    names = [name_of(clock(), by_itself=False)]
    site.settings.backups.mkdir()
    for _ in range(3):
        names.append(name_of(clock(), by_itself=True))
        clock.move(hours=12)
    for name in names:
        (site.settings.backups / name).touch()
    BackupClock(site).turn()

    by_hand, gone, *stay = names
    assert made(site.settings) == [
        name_of(clock(), by_itself=True), *reversed(stay), by_hand,
    ]  # fmt: skip
    assert not (site.settings.backups / gone).exists()


def test_failing_is_said_on_the_desk_until_it_works(
    site: Site,
    clock: Clock,
    supervisor: TestClient,
    therapist: TestClient,
) -> None:
    worker, folder = BackupClock(site), site.settings.backups
    worker.turn()
    good = made(site.settings)
    assert "Backups need a look" not in supervisor.get("/desk").text
    folder.rename(folder.with_name("taken away"))
    folder.write_text("no folder")
    clock.move(hours=6)
    failed_at = clock()
    worker.turn()

    page = supervisor.get("/desk").text
    assert "Backups need a look" in page
    assert f"The backup of {failed_at.day} {failed_at:%b, %H:%M} failed: " in page
    assert "File exists" in page
    assert SECRET not in page
    assert "need a look" not in therapist.get("/caseload").text
    assert [a.level for a in doctor(site)] == ["broken"]
    folder.unlink()
    folder.with_name("taken away").rename(folder)
    clock.move(minutes=14)
    worker.turn()
    assert made(site.settings) == good, "not before a quarter of an hour"
    assert "Backups need a look" in supervisor.get("/desk").text
    clock.move(minutes=1)
    worker.turn()
    assert made(site.settings)[1:] == good
    assert "Backups need a look" not in supervisor.get("/desk").text
    assert backup_trouble(site.settings, clock() + timedelta(hours=12)) == ""
    late = backup_trouble(site.settings, clock() + timedelta(hours=12.1))
    assert late.startswith("No backup was made for longer than planned. The last good")


def fail(*_given: object, **_named: object) -> None:
    raise KeyError("Mrs X")


def test_unknown_fault_is_no_end_of_backups(
    site: Site, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its own words may hold anything, so only its kind is told."""
    worker = BackupClock(site)
    with monkeypatch.context() as patched:
        patched.setattr(backing_up, "back_up_into", fail)
        worker.turn()
    tried = last_try(site.settings.data_dir)
    assert tried is not None
    assert "(KeyError)" in tried.failed
    assert "Mrs X" not in tried.failed
    clock.move(minutes=15)
    worker.turn()

    assert len(made(site.settings)) == 1


def test_stopping_half_way_leaves_nothing(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A stop waits for no backup, and is no failure."""
    worker = BackupClock(site)
    monkeypatch.setattr("app.storage.site_copy.BATCH", 1)
    worker.stop()
    worker.turn()

    assert [path.name for path in site.settings.backups.iterdir()] == [MARK]
    assert last_try(site.settings.data_dir) is None
    assert due(site.settings, site.clock())


@pytest.fixture
def at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(backup_clock, "FIRST_S", 0)


@pytest.mark.usefixtures("at_once")
def test_serving_site_does_it_by_itself(settings: Settings) -> None:
    with TestClient(create_app(settings)):
        until = time.monotonic() + 60
        while last_try(settings.data_dir) is None and time.monotonic() < until:
            time.sleep(0.02)

    assert len(made(settings)) == 1


@pytest.mark.usefixtures("at_once")
@pytest.mark.parametrize("other", [{"demo": True}, {"backup_every_hours": 0}])
def test_demo_and_unasked_sites_make_none(
    settings: Settings, other: dict[str, object]
) -> None:
    app = create_app(settings.model_copy(update=other))
    worker = BackupClock(app.state.site)
    worker.start()
    worker.turn()
    worker.stop()
    app.state.site.engine.dispose()

    assert not settings.backups.exists()


def test_start_and_doctor_say_how_backups_stand(site: Site, clock: Clock) -> None:
    clock.now = datetime.now(UTC)
    none = site.settings.model_copy(update={"backup_every_hours": 0})
    assert start_words(none) == NONE_MADE
    assert NONE_MADE.startswith("No backups are made.")
    quiet = Examined(none, site.engine, catalogue())
    assert [(a.level, a.says) for a in backups(quiet)] == [("warning", NONE_MADE)]
    assert "There is no good one yet" in start_words(site.settings)
    assert [a.level for a in doctor(site)] == ["warning"]
    BackupClock(site).turn()
    assert doctor(site) == []
    says = start_words(site.settings)
    assert says.startswith(f"Backups: every 6 h into {site.settings.backups}. The last")
    assert made(site.settings)[0] in says

    other = site.settings.model_copy(update={"backup_passphrase": "another one"})
    (wrong,) = backups(Examined(other, site.engine, catalogue()))
    assert wrong.level == "broken"
    assert "passphrase does not open" in wrong.says
    (path,) = (file.path for file in backups_in(site.settings.backups))
    path.write_bytes(path.read_bytes()[:-1])
    (cut,) = doctor(site)
    assert "does not open: The backup was cut off" in cut.says


def test_backup_of_a_clock_that_was_ahead_is_no_good_one(
    site: Site, clock: Clock
) -> None:
    """It makes none due, hides no failure, and goes only by hand."""
    site.settings.backups.mkdir()
    years = timedelta(days=9 * 365)
    ahead = name_of(datetime.now(UTC) + years, by_itself=True)
    (site.settings.backups / ahead).touch()
    worker = BackupClock(site)
    for _ in range(3):
        worker.turn()
        clock.move(minutes=1)

    assert made(site.settings)[0] == ahead
    assert len(made(site.settings)) == 2
    assert any("bears a later time" in amiss.says for amiss in doctor(site))
    late = backup_trouble(site.settings, clock() + timedelta(hours=13))
    assert late.startswith("No backup was made for longer than planned")


def test_passphrase_file_that_was_emptied_seals_nothing(
    site: Site, clock: Clock, tmp_path: Path
) -> None:
    secret = tmp_path / "secret"
    secret.write_text(SECRET)
    secret.chmod(0o600)
    given = {"backup_passphrase": "", "backup_passphrase_file": secret}
    site.settings = site.settings.model_copy(update=given)
    secret.write_text("")
    BackupClock(site).turn()

    assert made(site.settings) == []
    said = backup_trouble(site.settings, clock())
    assert f"TAPELINE_BACKUP_PASSPHRASE_FILE names {secret}, which holds fewer" in said
    assert any("no backup can be made" in amiss.says for amiss in doctor(site))
    secret.unlink()
    with pytest.raises(ValueError, match="but it cannot be read"):
        _ = site.settings.backup_secret


def test_two_sites_do_not_share_a_folder(site: Site, tmp_path: Path) -> None:
    """A restored copy that is served with the same settings drops nothing."""
    BackupClock(site).turn()
    good = made(site.settings)
    drill = tmp_path / "drill"
    drill.mkdir()
    second = site.settings.model_copy(update={"data_dir": drill})
    with pytest.raises(FolderOfAnother, match="another site"):
        backing_up.back_up_into(
            second, site.engine,
            site.settings.backups, SECRET, now=site.clock() + timedelta(days=99),
            progress=lambda *_: None, by_itself=True,
        )  # fmt: skip

    assert made(site.settings) == good
    # The first one's are none of its own: it is due, tries, and says why it cannot.
    site.settings = second
    assert "There is no good one yet" in start_words(second)
    BackupClock(site).turn()
    assert "holds the backups of another site" in backup_trouble(second, site.clock())
    assert made(second) == good


def test_backup_by_hand_lets_another_sites_half_made_one_be(
    site: Site, tmp_path: Path
) -> None:
    BackupClock(site).turn()
    half = site.settings.backups / f"{name_of(site.clock(), by_itself=True)}.part"
    half.touch()
    drill = tmp_path / "drill"
    drill.mkdir()
    for settings, left in (
        (site.settings.model_copy(update={"data_dir": drill}), True),
        (site.settings, False),
    ):
        backing_up.back_up_into(
            settings, site.engine, settings.backups, SECRET,
            now=site.clock() + timedelta(hours=1 + left), progress=lambda *_: None,
            by_itself=False,
        )  # fmt: skip

        assert half.exists() is left


def test_a_fault_of_the_database_is_said_by_its_name(
    site: Site, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As on a page: who makes room need not look into the log for it."""

    def no_room(*_given: object, **_named: object) -> None:
        full = sqlite3.OperationalError("no more of this")
        full.sqlite_errorcode = sqlite3.SQLITE_FULL
        raise OperationalError("SELECT label", {}, full)

    monkeypatch.setattr("app.commands.backing_up.back_up_into", no_room)
    BackupClock(site).turn()

    said = backup_trouble(site.settings, clock())
    assert NoRoom.sentence in said
    assert "label" not in said
