"""A site out of its database and into another, as the commands do it: time and memory.

The caseload as two CSV files, and then the whole site as one archive. Each is exported,
imported where nothing is, and exported again, which must hold the same. An import reads
every score anew, a site's to check it. Beside them the database's own way with the same
rows, which judges nothing: SQLite's backup, PostgreSQL's COPY.
"""

import csv
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing
from functools import partial
from pathlib import Path
from typing import Final

import psycopg
from sqlalchemy import make_url

from app.exports.content_hash import content_hash
from app.settings import Settings
from app.storage.database import make_engine, migrate, write_session
from app.storage.site_archive import opened
from app.storage.tables import Table
from tests.benchmarks.figures import POSTGRESQL, SQLITE, Figure, Options
from tests.load.process import Ran, ran
from tests.load.site import EACH, make_site
from tests.make import make_person

TRIALS: Final = 100_000
QUICK: Final = 400
#: Exporting and importing are deeds, so the copy's trail is longer.
DEEDS: Final = {"audit_entry", "audit_head"}
OWN_WAY: Final = {SQLITE: "SQLite's backup", POSTGRESQL: "COPY of every table"}
FILES: Final = ("patients.csv", "scores.csv")


def figures(options: Options) -> Iterator[Figure]:
    for database in options.databases():
        trials = QUICK if options.quick else TRIALS
        with ExitStack() as stack:
            address = partial(_new_address, options, database, stack)
            folder = options.folder / f"exchange {database}"
            site = make_site(folder / "site", trials // EACH, trials, address())
            own = own_way(site, folder, address)
            ward = _new_ward(folder, address())
            yield from caseload(site, ward, folder, own, database, trials)
            # Scores of the first were invented; those of the second were judged.
            yield from whole_site(ward, folder, address, own, database)


def _new_address(options: Options, database: str, stack: ExitStack) -> str:
    """Of a database that is there until the stack ends."""
    return stack.enter_context(options.address(database))


def own_way(
    site: Settings, folder: Path, address: Callable[[], str]
) -> tuple[float, float]:
    """Seconds until the database itself has copied all rows out, and in again."""
    if site.database_url:
        return _copied(site, folder, address())
    path, copy = site.data_dir / "tapeline.sqlite", folder / "copy.sqlite"
    return _backed_up(path, copy), _backed_up(copy, folder / "again.sqlite")


def _backed_up(source: Path, target: Path) -> float:
    begun = time.perf_counter()
    with (
        closing(sqlite3.connect(source)) as old,
        closing(sqlite3.connect(target)) as new,
    ):
        old.backup(new)
    return time.perf_counter() - begun


def _copied(site: Settings, folder: Path, empty: str) -> tuple[float, float]:
    names = [table.name for table in Table.metadata.sorted_tables]
    begun = time.perf_counter()
    with psycopg.connect(_plain(site.database)) as old:
        for name in names:
            with (
                (folder / f"{name}.copy").open("wb") as file,
                old.cursor().copy(f'COPY "{name}" TO STDOUT') as rows,
            ):
                file.writelines(rows)
    out_s = time.perf_counter() - begun
    engine = make_engine(empty)
    migrate(engine, None)
    engine.dispose()
    begun = time.perf_counter()
    with psycopg.connect(_plain(empty)) as new:
        new.execute("DELETE FROM audit_head")
        for name in names:
            with new.cursor().copy(f'COPY "{name}" FROM STDIN') as rows:
                rows.write((folder / f"{name}.copy").read_bytes())
    return out_s, time.perf_counter() - begun


def _plain(address: str) -> str:
    url = make_url(address).set(drivername="postgresql")
    return url.render_as_string(hide_password=False)


def whole_site(
    site: Settings,
    folder: Path,
    address: Callable[[], str],
    own: tuple[float, float],
    database: str,
) -> Iterator[Figure]:
    first, second = folder / "first.zip", folder / "second.zip"
    copy = Settings(data_dir=folder / "copy", database_url=address())
    exported = command(site, "export", "--site", str(first))
    imported = command(copy, "import", "--site", str(first))
    command(copy, "export", "--site", str(second))
    with opened(first) as one, opened(second) as two:
        rows = one.manifest.rows
        was, made = one.manifest.counted, two.manifest.counted
        differs = [name for name in was if was[name] != made[name]]
    size = first.stat().st_size
    yield from told("site out", exported, rows, size, own[0], database)
    yield from told("site in", imported, rows, size, own[1], database)
    astray = sorted(set(differs) - DEEDS)
    yield Figure(
        "site out, in, out: tables that differ", len(astray), "", database, most=0,
        note=", ".join(astray),
    )  # fmt: skip


def _new_ward(folder: Path, database: str) -> Settings:
    """A site with a supervisor who imports, and nobody else."""
    ward = Settings(data_dir=folder / "ward", database_url=database)
    engine = make_engine(ward.database)
    migrate(engine, None)
    with write_session(engine) as session:
        make_person(session, "supervisor", role="supervisor")
    engine.dispose()
    return ward


def caseload(
    site: Settings,
    ward: Settings,
    folder: Path,
    own: tuple[float, float],
    database: str,
    trials: int,
) -> Iterator[Figure]:
    first, second = folder / "first", folder / "second"
    exported = command(site, "export", "--out", str(first))
    imported = command(ward, "import", str(first))
    command(ward, "export", "--out", str(second))
    size = sum((first / name).stat().st_size for name in FILES)
    yield from told("caseload out", exported, trials, size, own[0], database)
    yield from told("caseload in", imported, trials, size, own[1], database)
    astray = [name for name in FILES if hashed(first / name) != hashed(second / name)]
    yield Figure(
        "caseload out, in, out: files that differ", len(astray), "", database, most=0,
        note=", ".join(astray),
    )  # fmt: skip


def hashed(path: Path) -> str:
    with path.open(newline="", encoding="utf-8-sig") as file:
        return content_hash(csv.DictReader(file))


def command(settings: Settings, *arguments: str) -> Ran:
    told = (*arguments, "--data", str(settings.data_dir))
    return ran(*told, TAPELINE_DATABASE_URL=settings.database_url)


def told(
    what: str, found: Ran, rows: int, size: int, own_s: float, database: str
) -> Iterator[Figure]:
    note = f"{rows} rows, {size / 1e6:.1f} MB of files, work {found.worked_s:.1f} s"
    yield Figure(what, found.took_s, "s", database, own_s, OWN_WAY[database], note=note)
    yield Figure(f"{what}: rows", rows / found.took_s, "/s", database)
    yield Figure(f"{what}: most memory", found.peak_mb, "MB", database)
