"""The file a whole site is copied into: a zip of one list of lines for each table.

`manifest.json` comes last and tells what the lines are, how many, and their hashes. The
hashes find what was damaged or cut off, not somebody who rewrites all of it.
"""

import hashlib
import json
import struct
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from io import BufferedReader
from pathlib import Path
from typing import Any, BinaryIO, Final, Self, cast
from zipfile import ZIP_DEFLATED, BadZipFile, ZipFile, ZipInfo

from app.storage.errors import StorageProblem
from app.storage.site_lines import Kind, Shape

FORMAT: Final = 1
KIND: Final = "whole site of Tapeline"
MANIFEST: Final = "manifest.json"
#: No site has tables enough for a longer one.
LARGEST_MANIFEST: Final = 4 * 1024 * 1024
#: Members carry no time of their own, so that the same rows make the same bytes.
_NO_TIME: Final = (1980, 1, 1, 0, 0, 0)
_ENCRYPTED: Final = 0x1
Progress = Callable[[int, int], None]


class WrongArchive(StorageProblem):
    """A file that is no whole site, or no longer the one that was written."""


@dataclass(frozen=True, slots=True)
class Counted:
    """How many lines a table has, and the hash of them all."""

    rows: int
    sha256: str


@dataclass(frozen=True, slots=True)
class About:
    """Where an archive comes from."""

    made_at: datetime
    app_version: str
    catalogue_edition: str
    schema_revision: str
    database: str


@dataclass(frozen=True, slots=True)
class Manifest:
    """All there is to know of an archive before its rows are read."""

    about: About
    shapes: tuple[Shape, ...]
    counted: Mapping[str, Counted]

    @property
    def rows(self) -> int:
        return sum(each.rows for each in self.counted.values())

    @property
    def sha256(self) -> str:
        return content_hash(self.counted)


def content_hash(counted: Mapping[str, Counted]) -> str:
    """One hash of all tables: the same wherever and in whatever order they lie."""
    lines = (
        f"{name} {counted[name].rows} {counted[name].sha256}\n"
        for name in sorted(counted)
    )
    return hashlib.sha256("".join(lines).encode()).hexdigest()


class Tally:
    """Counts and hashes lines as they go by."""

    def __init__(self) -> None:
        self._rows, self._hashed = 0, hashlib.sha256()

    def of(self, lines: Iterable[bytes]) -> Iterator[bytes]:
        for line in lines:
            self._rows += 1
            self._hashed.update(line)
            yield line

    @property
    def counted(self) -> Counted:
        return Counted(self._rows, self._hashed.hexdigest())


def member(table: str) -> str:
    return f"tables/{table}.jsonl"


class ArchiveWriter:
    """Writes tables one after the other, then the manifest.

    As a context manager, so that the zip is closed before the file it is written to.
    """

    def __init__(self, file: BinaryIO) -> None:
        self._zip = ZipFile(file, "w", ZIP_DEFLATED)
        self._shapes: list[Shape] = []
        self._counted: dict[str, Counted] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_fault: object) -> None:
        self._zip.close()

    def add(self, shape: Shape, lines: Iterable[bytes]) -> None:
        tally = Tally()
        with self._zip.open(_info(member(shape.name)), "w", force_zip64=True) as out:
            out.writelines(tally.of(lines))
        self._counted[shape.name] = tally.counted
        self._shapes.append(shape)

    def finish(self, about: About) -> Manifest:
        made = Manifest(about, tuple(self._shapes), self._counted)
        text = json.dumps(_as_json(made), indent=1) + "\n"
        self._zip.writestr(_info(MANIFEST), text)
        return made


def _info(name: str) -> ZipInfo:
    info = ZipInfo(name, _NO_TIME)
    info.compress_type = ZIP_DEFLATED
    info.external_attr = 0o600 << 16
    return info


def _as_json(made: Manifest) -> dict[str, Any]:
    about = made.about
    return {
        "kind": KIND,
        "format": FORMAT,
        "confidential": "As confidential as the site itself, and not encrypted.",
        "made_at": about.made_at.astimezone(UTC).isoformat(timespec="seconds"),
        "app_version": about.app_version,
        "catalogue_edition": about.catalogue_edition,
        "schema_revision": about.schema_revision,
        "database": about.database,
        "rows": made.rows,
        "sha256": made.sha256,
        "tables": [
            {
                "name": shape.name,
                "rows": made.counted[shape.name].rows,
                "sha256": made.counted[shape.name].sha256,
                "key": list(shape.key),
                "columns": dict(shape.columns),
            }
            for shape in made.shapes
        ],
    }


class Archive:
    """An archive that is read. `opened` makes it."""

    def __init__(self, zipped: ZipFile, manifest: Manifest) -> None:
        self._zip, self.manifest = zipped, manifest

    def lines(self, shape: Shape) -> Iterator[bytes]:
        """The lines of a table; WrongArchive at its end when they are not as written.

        So nothing that was made of them may last before the last one was read.
        """
        tally = Tally()
        with _told_apart(), self._zip.open(member(shape.name)) as packed:
            yield from tally.of(BufferedReader(cast(Any, packed)))
        if tally.counted != self.manifest.counted[shape.name]:
            raise WrongArchive(_altered(f"{shape.name} is not as it was written"))


@contextmanager
def opened(path: Path) -> Iterator[Archive]:
    """An archive by its manifest; WrongArchive when it has none that can be read."""
    with path.open("rb") as file, archive_in(file) as archive:
        yield archive


@contextmanager
def archive_in(file: BinaryIO) -> Iterator[Archive]:
    """The same of a file that is open, or lies in memory."""
    with _told_apart():
        zipped = ZipFile(file)
        manifest = _manifest(zipped)
    with zipped:
        yield Archive(zipped, manifest)


def _altered(what: str) -> str:
    return (
        f"The archive was cut off or altered: {what}. Nothing was imported. Take "
        "another copy of it."
    )


#: All that reading a zip raises when bytes of it are not what they were.
_DAMAGED: Final = (
    BadZipFile, EOFError, OSError, OverflowError, RuntimeError, ValueError,
    struct.error, zlib.error,
)  # fmt: skip


@contextmanager
def _told_apart() -> Iterator[None]:
    try:
        yield
    except _DAMAGED as fault:
        raise WrongArchive(_altered("it is no whole zip file")) from fault


def _manifest(zipped: ZipFile) -> Manifest:
    members = zipped.infolist()
    names = [info.filename for info in members]
    if MANIFEST not in names:
        raise WrongArchive(
            "This is no archive of a whole site: it has no manifest. Nothing was "
            "imported."
        )
    for info in members:
        if info.compress_type != ZIP_DEFLATED or info.flag_bits & _ENCRYPTED:
            raise WrongArchive(_altered(f"{info.filename} is packed in another way"))
    if zipped.getinfo(MANIFEST).file_size > LARGEST_MANIFEST:
        raise WrongArchive(_altered("its manifest is too long"))
    made = _read_manifest(zipped.read(MANIFEST))
    expected = [*(member(shape.name) for shape in made.shapes), MANIFEST]
    if sorted(names) != sorted(expected):
        raise WrongArchive(_altered("it holds other tables than its manifest tells"))
    return made


def _read_manifest(text: bytes) -> Manifest:
    try:
        told = json.loads(text)
        kind, format = told["kind"], int(told["format"])
    except (ValueError, TypeError, KeyError) as fault:
        raise WrongArchive(_altered("its manifest cannot be read")) from fault
    if kind != KIND:
        raise WrongArchive("This is no archive of a whole site. Nothing was imported.")
    if format > FORMAT:
        raise WrongArchive(
            "The archive was made by a newer version of Tapeline. Nothing was "
            "imported: use that version."
        )
    try:
        made = _from_json(told)
    except (ValueError, TypeError, KeyError, AttributeError) as fault:
        raise WrongArchive(_altered("its manifest cannot be read")) from fault
    if (made.rows, made.sha256) != (told["rows"], told["sha256"]):
        raise WrongArchive(_altered("its manifest does not add up"))
    return made


def _from_json(told: Mapping[str, Any]) -> Manifest:
    tables = told["tables"]
    about = About(
        made_at=datetime.fromisoformat(told["made_at"]),
        app_version=str(told["app_version"]),
        catalogue_edition=str(told["catalogue_edition"]),
        schema_revision=str(told["schema_revision"]),
        database=str(told["database"]),
    )
    shapes = tuple(
        Shape(
            str(each["name"]),
            {str(name): cast(Kind, kind) for name, kind in each["columns"].items()},
            tuple(each["key"]),
        )
        for each in tables
    )
    counts = {
        str(each["name"]): Counted(int(each["rows"]), str(each["sha256"]))
        for each in tables
    }
    return Manifest(about, shapes, counts)
