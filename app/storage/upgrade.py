"""The steps of a schema change: which schema is there, a copy of it, the way up.

Alembic does the work; this makes it safe on SQLite, where a table is changed by being
copied and foreign keys would bite half way. Only a site that is not at the newest
schema needs Alembic, so no other start waits for it.
"""

import re
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from sqlalchemy import Connection, Engine, inspect, text

from app.storage.cipher import beside
from app.storage.errors import NotSound, SchemaTooNew

if TYPE_CHECKING:
    from alembic.config import Config

MIGRATIONS: Final = Path(__file__).parent / "migrations"
#: Where Alembic keeps the revision that a database is at.
VERSION_TABLE: Final = "alembic_version"
NAMED: Final = re.compile(
    r'^(revision|down_revision)(?:: [^=]+)? = (?:"(\w+)"|None)', re.MULTILINE
)
#: What the name of a copy ends in until all of it is there.
HALF: Final = ".part"
COPY: Final = re.compile(r"before-upgrade-of-\w+-(\d{8}T\d{12})Z\.sqlite", re.ASCII)
#: So many of the newest copies stay: each is as confidential as the site.
COPIES_KEPT: Final = 3


def config(connection: Connection) -> "Config":
    """What Alembic is told; its `env.py` takes the connection from here."""
    from alembic.config import Config

    told = Config()
    told.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    told.attributes["connection"] = connection
    return told


@cache
def newest() -> str:
    """The revision this program was written for: the one that none comes after."""
    (head,) = _steps().keys() - set(_steps().values())
    return head


@cache
def _steps() -> dict[str, str | None]:
    """Each revision of this program, and the one it comes after."""
    scripts = (MIGRATIONS / "versions").glob("*.py")
    return dict(_step(path.read_text("utf-8")) for path in scripts)


def _step(script: str) -> tuple[str, str | None]:
    names = {m[1]: m[2] for m in NAMED.finditer(script)}
    return names["revision"], names["down_revision"]


def revision_of(connection: Connection) -> str | None:
    """The schema's revision, None when there is none yet.

    Raise SchemaTooNew when this program has never heard of it.
    """
    if not inspect(connection).has_table(VERSION_TABLE):
        return None
    rows = connection.execute(text(f"SELECT version_num FROM {VERSION_TABLE}"))
    found = rows.scalar_one_or_none()
    if found is not None and found not in known():
        raise SchemaTooNew
    return found


def known() -> frozenset[str]:
    """Every revision of this program."""
    return frozenset(_steps())


def is_known(revision: str) -> bool:
    """Whether this program can build that schema, and bring it up from there."""
    return revision in known()


def to_newest(connection: Connection) -> None:
    to_revision(connection, "head")


def to_revision(connection: Connection, revision: str) -> None:
    from alembic import command

    command.upgrade(config(connection), revision)


@contextmanager
def changing_schema(engine: Engine) -> Iterator[Connection]:
    """A connection in one transaction, in which a migration may copy tables.

    On SQLite foreign keys are off, which only works from before the transaction, and
    every reference is checked before it is committed.
    """
    with engine.connect() as connection:
        if engine.dialect.name != "sqlite":
            with connection.begin():
                yield connection
            return
        # Python's own SQLite or SQLCipher's: the two have no common class.
        driver: Any = connection.connection.driver_connection
        driver.execute("PRAGMA foreign_keys = OFF")
        try:
            with connection.begin():
                yield connection
                _check_references(connection)
        finally:
            driver.execute("PRAGMA foreign_keys = ON")


def _check_references(connection: Connection) -> None:
    astray = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    if astray:
        tables = ", ".join(sorted({str(row[0]) for row in astray}))
        raise NotSound(
            f"Rows of {tables} point at rows that do not exist, so the database was "
            "left as it was. Restore a backup, or ask who runs this site."
        )


def holds_anything(connection: Connection) -> bool:
    return bool(inspect(connection).get_table_names())


def back_up(
    engine: Engine, folder: Path, revision: str | None, now: datetime
) -> Path | None:
    """Copy a SQLite file as it stands, under a name that says from when and what.

    Whole under that name or not at all: half a copy must never look like one. The copy
    of an encrypted one is encrypted with the same key. A PostgreSQL site is backed up
    by who runs the server.
    """
    if engine.dialect.name != "sqlite":
        return None
    copy = folder / f"before-upgrade-of-{revision}-{now:%Y%m%dT%H%M%S%f}Z.sqlite"
    half = copy.with_name(f"{copy.name}{HALF}")
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        _forget_halves(folder)
        _forget_tries(folder, revision)
        half.touch(mode=0o600, exist_ok=False)
        sound = _copied(engine, half)
        if sound:
            half.replace(copy)
    except (engine.dialect.loaded_dbapi.Error, OSError) as fault:
        half.unlink(missing_ok=True)
        raise NotSound(
            f"The copy that is made before an upgrade could not be written to {folder} "
            f"({fault}). Nothing was changed. Make room there, then start again."
        ) from fault
    if not sound:
        half.unlink(missing_ok=True)
        raise NotSound(
            "The database has faults, which the copy made before the upgrade shows. "
            "Nothing was changed. Run tapeline doctor, and restore a backup."
        )
    return copy


def _forget_tries(folder: Path, revision: str | None) -> None:
    """Starts that are killed while they upgrade each leave a copy of the same."""
    named = f"before-upgrade-of-{revision}-"
    same = [copy for copy in copies_in(folder) if copy.name.startswith(named)]
    for copy in same[COPIES_KEPT:]:
        copy.unlink(missing_ok=True)


def _forget_halves(folder: Path) -> None:
    for half in halves_in(folder):
        half.unlink(missing_ok=True)


def halves_in(folder: Path) -> list[Path]:
    """What an upgrade that was broken off left behind."""
    return sorted(folder.glob(f"before-upgrade-of-*{HALF}*"))


def copies_in(folder: Path) -> list[Path]:
    """Whole copies that were made before upgrades, the newest first."""
    named = [(COPY.fullmatch(path.name), path) for path in folder.glob("before-*")]
    dated = [(match[1], path) for match, path in named if match]
    return [path for _, path in sorted(dated, reverse=True)]


def forget_old_copies(folder: Path, new: Path | None = None) -> None:
    """All but the newest three, of which the one just made is one whatever its time.

    After an upgrade: it is done, and must not fail over a file that stays.
    """
    older = [copy for copy in copies_in(folder) if copy != new]
    for copy in older[COPIES_KEPT - (new is not None) :]:
        with suppress(OSError):
            copy.unlink(missing_ok=True)


def _copied(engine: Engine, path: Path) -> bool:
    """Copy the file, on the disk before this returns; whether the copy is sound."""
    raw = engine.raw_connection()
    try:
        source: Any = raw.driver_connection
        with closing(beside(engine, path)) as target:
            source.backup(target)
            return bool(target.execute("PRAGMA quick_check").fetchone()[0] == "ok")
    finally:
        raw.close()
