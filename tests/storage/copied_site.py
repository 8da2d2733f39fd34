"""A whole site's archive for tests: written, filled in, and spoilt."""

import hashlib
import json
import shutil
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, event, insert, inspect, null

from app.storage import upgrade
from app.storage.audit import in_silence
from app.storage.database import make_engine, read_session
from app.storage.site_archive import (
    MANIFEST,
    About,
    Counted,
    Manifest,
    content_hash,
    member,
    opened,
)
from app.storage.site_copy import contents, site_filled, write_site
from app.storage.site_lines import Kind, Shape, shapes_of
from tests.make import NOW


def write(engine: Engine, path: Path, revision: str = upgrade.newest()) -> Manifest:
    about = About(NOW, "1.2", "edition-1", revision, engine.dialect.name)
    with read_session(engine) as session, path.open("wb") as file:
        return write_site(session.connection(), file, about, in_silence)


def fill(engine: Engine, path: Path) -> None:
    with opened(path) as archive, site_filled(engine, archive, in_silence):
        pass


def contents_of(engine: Engine) -> dict[str, Counted]:
    with read_session(engine) as session:
        return contents(session.connection())


def packed(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def tables(path: Path) -> dict[str, bytes]:
    return {name: held for name, held in packed(path).items() if name != MANIFEST}


@contextmanager
def file_site(path: Path) -> Iterator[Engine]:
    engine = make_engine(f"sqlite:///{path}")
    yield engine
    engine.dispose()


@contextmanager
def lax_site(path: Path) -> Iterator[Engine]:
    with file_site(path) as engine:

        @event.listens_for(engine, "connect")
        def _let_all_in(connection: Any, _entry: object) -> None:
            connection.execute("PRAGMA ignore_check_constraints = ON")
            connection.execute("PRAGMA foreign_keys = OFF")

        yield engine


def odd_rows(connection: Connection, shape: Shape) -> list[dict[str, Any]]:
    """One row with all that may be empty empty, and one with something everywhere."""
    columns = inspect(connection).get_columns(shape.name)
    free = {column["name"] for column in columns if column["nullable"]}
    return [
        {
            name: (null() if kind == "json" else None)
            if place == 1 and name in free
            else odd(kind, place)
            for name, kind in shape.columns.items()
        }
        for place in (1, 2)
    ]


def odd(kind: Kind, place: int) -> Any:
    """Numbers are 1 and 2, so that every row that is pointed at is there."""
    at = datetime(2026, 3, 29, 0, 59, 59, place, tzinfo=UTC)
    values: dict[Kind, Any] = {
        "integer": place,
        "text": "" if place == 1 else "Zoë \x01 '\"\\ \n🙂",
        "yes_no": place == 2,
        "day": date(1903, 2, 27 + place - 1),
        "instant": at,
        "bytes": bytes(range(256)) * place,
        "json": [None, 1.5, {"b": "ä", "a": [-0.0, 2**60]}] if place == 2 else {},
    }
    return values[kind]


def write_odd(built: Path, path: Path, to: Path) -> None:
    """A copy of an empty site with odd rows in every table, and its archive."""
    shutil.copy(built, path)
    with lax_site(path) as engine:
        with engine.begin() as connection:
            for shape in shapes_of(connection):
                connection.execute(shape.table().delete())
                connection.execute(insert(shape.table()), odd_rows(connection, shape))
        write(engine, to)


def repacked(
    copy: Path, tmp_path: Path, change: Callable[[dict[str, bytes]], None]
) -> Path:
    held, path = packed(copy), tmp_path / "changed.zip"
    change(held)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in held.items():
            archive.writestr(name, content)
    return path


def retold(
    copy: Path, tmp_path: Path, change: Callable[[dict[str, Any]], None]
) -> Path:
    def tell(held: dict[str, bytes]) -> None:
        told = json.loads(held[MANIFEST])
        change(told)
        held[MANIFEST] = json.dumps(told).encode()

    return repacked(copy, tmp_path, tell)


def forge(
    copy: Path, tmp_path: Path, table: str, change: Callable[[bytes], bytes]
) -> Path:
    """Change lines, and every hash with them."""

    def tell(held: dict[str, bytes]) -> None:
        before = held[member(table)]
        held[member(table)] = change(before)
        assert held[member(table)] != before
        told = json.loads(held[MANIFEST])
        (row,) = [t for t in told["tables"] if t["name"] == table]
        row["sha256"] = hashlib.sha256(held[member(table)]).hexdigest()
        counts = {t["name"]: Counted(t["rows"], t["sha256"]) for t in told["tables"]}
        told["sha256"] = content_hash(counts)
        held[MANIFEST] = json.dumps(told).encode()

    return repacked(copy, tmp_path, tell)
