"""A whole site into one archive, and an archive into a place where no site is yet.

Every row of every table goes along, so the copy is a backup of a site on either kind of
database and the way from one kind to the other. Only what lets somebody in does not:
sign-ins and one-time links are ended in the copy.
"""

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from itertools import islice
from typing import Any, BinaryIO, Final

from sqlalchemy import Connection, Engine, func, insert, inspect, select, text
from sqlalchemy.exc import DataError, IntegrityError

from app.storage import upgrade
from app.storage.errors import NotSound, SchemaTooNew, StorageProblem
from app.storage.site_archive import (
    About,
    Archive,
    ArchiveWriter,
    Counted,
    Manifest,
    Progress,
    Tally,
    WrongArchive,
)
from app.storage.site_lines import BATCH, REVISIONS, Shape, lines_of, row_of, shapes_of

#: The one row that is in a database in which nobody has done anything.
_HEAD: Final = "audit_head"


class SiteNotEmpty(StorageProblem):
    """An import never adds to a site, nor writes over one."""


def write_site(
    connection: Connection, file: BinaryIO, about: About, progress: Progress
) -> Manifest:
    """Every row as one moment saw it: give it a connection that only reads."""
    shapes = shapes_of(connection)
    told = _Told(progress, sum(_rows(connection, shape) for shape in shapes))
    with ArchiveWriter(file) as archive:
        for shape in shapes:
            archive.add(shape, told.each(lines_of(connection, shape)))
        return archive.finish(about)


class _Told:
    """Tells a progress how many of all rows have gone by."""

    def __init__(self, progress: Progress, of: int) -> None:
        self.progress, self.done, self.of = progress, 0, of

    def each(self, lines: Iterable[bytes]) -> Iterator[bytes]:
        for line in lines:
            self.done += 1
            if self.done % BATCH == 0:
                self.progress(self.done, self.of)
            yield line


def _rows(connection: Connection, shape: Shape) -> int:
    asked = select(func.count()).select_from(shape.table())
    return int(connection.execute(asked).scalar_one())


def contents(
    connection: Connection, each: Callable[[Iterable[bytes]], Iterable[bytes]] = iter
) -> dict[str, Counted]:
    """What every table holds, as an archive would tell it."""
    found = {}
    for shape in shapes_of(connection):
        tally = Tally()
        for _ in tally.of(each(lines_of(connection, shape))):
            pass
        found[shape.name] = tally.counted
    return found


def look_through(archive: Archive, progress: Progress) -> None:
    """Read all of an archive; WrongArchive when any of it is not as it was written."""
    told = _Told(progress, archive.manifest.rows)
    for shape in archive.manifest.shapes:
        for _ in _rows_in(shape, told.each(archive.lines(shape))):
            pass


def _rows_in(shape: Shape, lines: Iterable[bytes]) -> Iterator[dict[str, Any]]:
    for place, line in enumerate(lines, 1):
        try:
            yield row_of(shape, line)
        except (ValueError, TypeError, KeyError) as fault:
            raise WrongArchive(
                f"Line {place} of {shape.name} in the archive is no row of that table. "
                "Nothing was imported."
            ) from fault


def refuse_newer(archive: Archive) -> None:
    """Raise SchemaTooNew when this program has never heard of the archive's tables."""
    if not upgrade.is_known(archive.manifest.about.schema_revision):
        raise SchemaTooNew(
            "The archive was made by a newer version of Tapeline. Nothing was "
            "imported: use that version, or a newer one."
        )


def refuse_unless_empty(connection: Connection, archive: Archive) -> None:
    """Raise SiteNotEmpty when anything is there, or tables of another version."""
    if _is_bare(connection):
        return
    wanted = archive.manifest.about.schema_revision
    found = upgrade.revision_of(connection)
    if found is None:
        raise SiteNotEmpty("The database holds something else. Nothing was imported.")
    held = [s.name for s in shapes_of(connection) if _holds_anything(connection, s)]
    if held:
        raise SiteNotEmpty(
            f"There is a site already, with rows in {', '.join(held[:3])}"
            f"{' and others' if len(held) > 3 else ''}. It was left as it is: import "
            "into a new folder with --data, or into an empty database."
        )
    if found != wanted:
        raise SiteNotEmpty(
            f"The archive is of version {wanted} of the tables, and empty ones of "
            f"version {found} stand here already. Nothing was imported: import into a "
            "new folder with --data, or into a database without tables."
        )


def _is_bare(connection: Connection) -> bool:
    return not set(inspect(connection).get_table_names()) - {REVISIONS}


def _holds_anything(connection: Connection, shape: Shape) -> bool:
    table = shape.table()
    asked = select(text("1")).select_from(table)
    if shape.name == _HEAD:
        asked = asked.where(table.c.last_id > 0)
    return connection.execute(asked.limit(1)).first() is not None


@contextmanager
def site_filled(
    engine: Engine, archive: Archive, progress: Progress
) -> Iterator[Connection]:
    """Take a whole archive in, in one transaction that ends after the block, or none.

    An archive of older tables is loaded into those and then brought up. What was
    loaded is read back and must have the archive's own hashes.
    """
    refuse_newer(archive)
    with upgrade.changing_schema(engine) as connection:
        refuse_unless_empty(connection, archive)
        if _is_bare(connection):
            upgrade.to_revision(connection, archive.manifest.about.schema_revision)
        told = _Told(progress, 2 * archive.manifest.rows)
        _load(connection, archive, told)
        if contents(connection, told.each) != archive.manifest.counted:
            raise NotSound(
                "What was loaded does not read like the archive, so nothing was kept."
            )
        upgrade.to_newest(connection)
        yield connection


def _load(connection: Connection, archive: Archive, told: _Told) -> None:
    shapes = shapes_of(connection)
    if sorted(shapes, key=_name) != sorted(archive.manifest.shapes, key=_name):
        raise WrongArchive(
            "The archive's tables are not those of its own version, so nothing was "
            "imported."
        )
    with _keys_checked_later(connection, shapes):
        for shape in shapes:
            # What the first migration put there comes with the archive.
            connection.execute(shape.table().delete())
            _fill(connection, shape, told.each(archive.lines(shape)))
    count_on(connection, shapes)


def _name(shape: Shape) -> str:
    return shape.name


def _fill(connection: Connection, shape: Shape, lines: Iterable[bytes]) -> None:
    rows, added = _rows_in(shape, lines), insert(shape.table())
    try:
        while batch := list(islice(rows, BATCH)):
            connection.execute(added, batch)
    except (IntegrityError, DataError, ValueError) as fault:
        raise WrongArchive(
            f"A row of {shape.name} in the archive breaks a rule of that table, so "
            "nothing was imported."
        ) from fault


@contextmanager
def _keys_checked_later(
    connection: Connection, shapes: tuple[Shape, ...]
) -> Iterator[None]:
    """Rows may point at rows that come after them, until the block ends.

    On SQLite no key is looked at before the transaction's end, where all are.
    """
    if connection.dialect.name != "postgresql":
        yield
        return
    ahead = list(_keys_ahead(connection, shapes))
    for table, key in ahead:
        connection.exec_driver_sql(
            f'ALTER TABLE "{table}" ALTER CONSTRAINT "{key}" '
            "DEFERRABLE INITIALLY DEFERRED"
        )
    yield
    try:
        connection.exec_driver_sql("SET CONSTRAINTS ALL IMMEDIATE")
    except IntegrityError as fault:
        raise WrongArchive(
            "Rows in the archive point at rows that are not there, so nothing was "
            "imported."
        ) from fault
    for table, key in ahead:
        connection.exec_driver_sql(
            f'ALTER TABLE "{table}" ALTER CONSTRAINT "{key}" NOT DEFERRABLE'
        )


def _keys_ahead(
    connection: Connection, shapes: tuple[Shape, ...]
) -> Iterator[tuple[str, str]]:
    """Foreign keys to a table that is not filled before: mostly to itself."""
    seen, filled = inspect(connection), set[str]()
    for shape in shapes:
        for key in seen.get_foreign_keys(shape.name):
            if key["referred_table"] not in filled:
                yield shape.name, str(key["name"])
        filled.add(shape.name)


def count_on(connection: Connection, shapes: tuple[Shape, ...]) -> None:
    """PostgreSQL numbers new rows above all that came, and above what was purged."""
    if connection.dialect.name != "postgresql":
        return
    marks = {s.name: s for s in shapes}.get("number_mark")
    upto = {}
    if marks is not None:
        table = marks.table()
        kept = connection.execute(select(table.c.name, table.c.upto)).all()
        upto = {str(name): int(mark) for name, mark in kept}
    for shape in shapes:
        if not shape.is_numbered:
            continue
        highest = select(func.max(shape.table().c.id))
        last = max(connection.execute(highest).scalar() or 0, upto.get(shape.name, 0))
        counter = func.pg_get_serial_sequence(shape.name, "id")
        if last and connection.execute(select(counter)).scalar() is not None:
            connection.execute(select(func.setval(counter, last)))
