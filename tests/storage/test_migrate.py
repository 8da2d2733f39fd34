"""Bringing a database to the program's schema: with a copy, whole, or not at all."""

import importlib
import pkgutil
import sqlite3
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest
from alembic import command
from alembic.script import ScriptDirectory
from sqlalchemy import Engine, inspect, make_url, text
from sqlalchemy.exc import OperationalError
from sqlalchemy.schema import CreateIndex

from app import storage
from app.storage import upgrade
from app.storage.database import make_engine, migrate, read_session
from app.storage.errors import NotSound, SchemaTooNew
from app.storage.tables import Table, tell_postgresql
from tests.cluster import SERVER, own_schema
from tests.make import NOW
from tests.storage.conftest import Ward

for found in pkgutil.iter_modules(storage.__path__):
    importlib.import_module(f"{storage.__name__}.{found.name}")


def tables(engine: Engine) -> set[str]:
    return set(inspect(engine).get_table_names())


def script(engine: Engine, *statements: str) -> None:
    """Run statements as an older or careless program would, without foreign keys."""
    with closing(sqlite3.connect(str(engine.url.database))) as connection, connection:
        for statement in statements:
            connection.execute(statement)


def test_new_database_gets_the_newest_schema(new_file: Engine) -> None:
    migrate(new_file, None)

    with new_file.connect() as connection:
        assert upgrade.revision_of(connection) == upgrade.newest()


def test_migrating_again_changes_nothing(ward: Ward, tmp_path: Path) -> None:
    migrate(ward.engine, tmp_path / "backups")

    with read_session(ward.engine) as session:
        assert session.get(type(ward.patient), ward.patient.id) is not None
    assert not (tmp_path / "backups").exists()


def test_new_file_needs_no_backup(new_file: Engine, tmp_path: Path) -> None:
    migrate(new_file, tmp_path / "backups")

    assert not (tmp_path / "backups").exists()


def test_file_that_holds_anything_is_copied_first(
    new_file: Engine, tmp_path: Path
) -> None:
    script(new_file, "CREATE TABLE older (id)", "INSERT INTO older VALUES (7)")
    migrate(new_file, tmp_path / "backups")

    (copy,) = (tmp_path / "backups").iterdir()
    with closing(sqlite3.connect(copy)) as connection:
        kept = connection.execute("SELECT id FROM older").fetchall()
        names = connection.execute("SELECT name FROM sqlite_master").fetchall()
    assert kept == [(7,)]
    assert names == [("older",)]
    assert copy.stat().st_mode & 0o077 == 0


def test_only_the_newest_copies_stay(new_file: Engine, tmp_path: Path) -> None:
    """Whatever else lies there, and whatever its file's own time is."""
    backups = tmp_path / "backups"
    backups.mkdir()
    old = [
        f"before-upgrade-of-00{n}-202601{n}T000000000000Z.sqlite" for n in range(10, 15)
    ]
    for name in (*reversed(old), "before-upgrade-of-mine.sqlite", "notes.txt"):
        (backups / name).touch()
    script(new_file, "CREATE TABLE older (id)")
    migrate(new_file, backups)

    left = {path.name for path in backups.iterdir()}
    (made,) = left - {*old, "before-upgrade-of-mine.sqlite", "notes.txt"}
    assert left == {made, *old[-2:], "before-upgrade-of-mine.sqlite", "notes.txt"}
    assert upgrade.copies_in(backups)[0].name == made


def test_upgrade_that_fails_takes_no_copy_away(
    new_file: Engine, tmp_path: Path
) -> None:
    backups = tmp_path / "backups"
    backups.mkdir()
    for n in range(10, 15):
        (backups / f"before-upgrade-of-00{n}-202601{n}T000000000000Z.sqlite").touch()
    script(new_file, "CREATE TABLE audit_head (id)")

    with pytest.raises(OperationalError):
        migrate(new_file, backups)
    assert len(upgrade.copies_in(backups)) == 5  # its own would tell nothing new


def test_copy_just_made_stays_whatever_the_clock_said_before(
    new_file: Engine, tmp_path: Path
) -> None:
    backups = tmp_path / "backups"
    backups.mkdir()
    ahead = [f"before-upgrade-of-0030-209901{n}T000000000000Z.sqlite"
             for n in range(10, 14)]  # fmt: skip
    for name in ahead:
        (backups / name).touch()
    script(new_file, "CREATE TABLE older (id)")
    migrate(new_file, backups)

    left = {path.name for path in backups.iterdir()}
    assert set(ahead[-2:]) < left
    assert len(left) == 3


def test_starts_that_are_killed_fill_no_disk(new_file: Engine, tmp_path: Path) -> None:
    script(new_file, "CREATE TABLE older (id)")
    for minute in range(9):
        now = NOW + timedelta(minutes=minute)
        upgrade.back_up(new_file, tmp_path, "0030", now)

    assert len(upgrade.copies_in(tmp_path)) == 4


def test_faulty_copy_gets_no_name(
    new_file: Engine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    script(new_file, "CREATE TABLE older (id)")
    monkeypatch.setattr(upgrade, "_copied", lambda *_: False)

    with pytest.raises(NotSound, match="has faults"):
        migrate(new_file, tmp_path / "backups")
    assert list((tmp_path / "backups").iterdir()) == []


def test_migration_that_fails_leaves_no_trace(new_file: Engine) -> None:
    """The schema's last tables cannot be made, so none of the first ones stay."""
    script(new_file, "CREATE TABLE audit_head (id)")

    with pytest.raises(OperationalError, match="already exists"):
        migrate(new_file, None)

    assert tables(new_file) == {"audit_head"}


def test_migration_over_broken_references_is_undone(
    new_file: Engine, tmp_path: Path
) -> None:
    script(
        new_file,
        "CREATE TABLE ward (id INTEGER PRIMARY KEY)",
        "CREATE TABLE bed (id INTEGER PRIMARY KEY, ward_id REFERENCES ward (id))",
        "INSERT INTO bed VALUES (1, 99)",
    )

    with pytest.raises(NotSound, match="Rows of bed point at rows that do not exist"):
        migrate(new_file, tmp_path / "backups")

    assert tables(new_file) == {"ward", "bed"}
    assert list((tmp_path / "backups").iterdir()) == []


def test_table_that_others_point_at_can_be_copied(new_file: Engine) -> None:
    """How SQLite changes a column: with keys on, dropping the old table would fail."""
    script(
        new_file,
        "CREATE TABLE ward (id INTEGER PRIMARY KEY, name TEXT)",
        "CREATE TABLE bed (id INTEGER PRIMARY KEY, ward_id REFERENCES ward (id))",
        "INSERT INTO ward VALUES (1, 'north')",
        "INSERT INTO bed VALUES (7, 1)",
    )
    with upgrade.changing_schema(new_file) as connection:
        for statement in (
            "CREATE TABLE copy (id INTEGER PRIMARY KEY, name TEXT NOT NULL)",
            "INSERT INTO copy SELECT * FROM ward",
            "DROP TABLE ward",
            "ALTER TABLE copy RENAME TO ward",
        ):
            connection.execute(text(statement))

    with new_file.connect() as connection:
        joined = text("SELECT name FROM bed JOIN ward ON ward.id = ward_id")
        assert connection.execute(joined).scalars().all() == ["north"]


def test_foreign_keys_are_on_again_after_migrating(new_file: Engine) -> None:
    migrate(new_file, None)

    with new_file.connect() as connection:
        assert connection.execute(text("PRAGMA foreign_keys")).scalar() == 1


def test_steps_are_those_that_alembic_reads() -> None:
    """A start reads them itself, so that it need not load Alembic."""
    scripts = ScriptDirectory(upgrade.MIGRATIONS)

    assert upgrade.newest() == scripts.get_current_head()
    assert upgrade.known() == {s.revision for s in scripts.walk_revisions()}


def test_newer_schema_is_refused_with_a_sentence(
    engine: Engine, tmp_path: Path
) -> None:
    with engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = 'later'"))

    with pytest.raises(SchemaTooNew) as refused:
        migrate(engine, tmp_path / "backups")

    with engine.connect() as connection:
        found = connection.execute(text("SELECT version_num FROM alembic_version"))
        assert found.scalar() == "later"
    assert "newer version of Tapeline" in refused.value.sentence
    assert not (tmp_path / "backups").exists()


def test_tables_and_migrations_have_not_drifted(engine: Engine) -> None:
    """What `alembic check` asks: it raises when a migration would change anything."""
    with upgrade.changing_schema(engine) as connection:
        command.check(upgrade.config(connection))


def test_drift_would_be_noticed(new_file: Engine) -> None:
    migrate(new_file, None)
    script(new_file, "ALTER TABLE person ADD COLUMN nickname TEXT")

    with (
        pytest.raises(Exception, match=r"remove_column.*nickname"),
        upgrade.changing_schema(new_file) as connection,
    ):
        command.check(upgrade.config(connection))


def checks(engine: Engine) -> dict[str, dict[str | None, str]]:
    look = inspect(engine)
    return {
        table: {c["name"]: c["sqltext"] for c in look.get_check_constraints(table)}
        for table in look.get_table_names()
        if table != "alembic_version"
    }


def test_checks_of_the_migrations_are_those_of_the_tables(
    engine: Engine, tmp_path: Path
) -> None:
    """Alembic does not compare CHECKs, so each database is asked what it was given."""
    if engine.dialect.name == "sqlite":
        made = checks_made_at(f"sqlite:///{tmp_path / 'made.sqlite'}")
    else:
        with own_schema() as address:
            made = checks_made_at(address)

    assert checks(engine) == made
    assert made["trial"]


def checks_made_at(address: str) -> dict[str, dict[str | None, str]]:
    made = make_engine(address)
    tell_postgresql(Table.metadata)
    Table.metadata.create_all(made)
    found = checks(made)
    made.dispose()
    return found


def test_index_of_some_rows_is_one_on_both_databases(new_file: Engine) -> None:
    """A new migration is written from these: a rule left out would index every row."""
    migrate(new_file, None)

    indexes = [i for t in Table.metadata.tables.values() for i in t.indexes]
    some = {i.name for i in indexes if i.dialect_kwargs.get("sqlite_where") is not None}
    assert "ix_trial_stopped" in some
    for address in ("sqlite://", "postgresql+psycopg://"):
        kind = make_url(address).get_dialect()()
        made = [str(CreateIndex(i).compile(dialect=kind)) for i in indexes]
        assert sum(" WHERE " in each for each in made) == len(some)


def test_every_rule_and_key_has_a_name() -> None:
    """SQLite can only change what has a name."""
    unnamed = [
        f"{table.name}: {constraint}"
        for table in Table.metadata.tables.values()
        for constraint in table.constraints
        if constraint.name is None
    ]

    assert not unnamed


def test_downgrade_leaves_nothing_behind(engine: Engine) -> None:
    with upgrade.changing_schema(engine) as connection:
        command.downgrade(upgrade.config(connection), "base")

    assert tables(engine) == {"alembic_version"}


@pytest.mark.skipif(not SERVER, reason="needs TAPELINE_TEST_DATABASE_URL")
def test_failed_migration_leaves_no_trace_on_postgresql() -> None:
    with own_schema() as address:
        engine = make_engine(address)
        with engine.begin() as connection:
            connection.execute(text("CREATE TABLE audit_head (id INTEGER)"))

        with pytest.raises(Exception, match="already exists"):
            migrate(engine, None)

        assert tables(engine) == {"audit_head"}
        engine.dispose()
