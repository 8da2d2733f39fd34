"""`tapeline export --site` and `tapeline import --site`: the whole site in one file.

A backup, and the way from a SQLite site to a PostgreSQL one and back. The file is as
confidential as the site, and not encrypted.
"""

import argparse
import sys
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, BinaryIO, Final

from sqlalchemy import make_url
from sqlmodel import Session

from app.catalogue.load import catalogue
from app.commands.doctor import as_text, examined
from app.commands.filling import fill
from app.commands.opening import (
    did,
    file_of_site,
    opened_site,
    settings_from,
    told_plainly,
)
from app.commands.progress import Progress
from app.commands.refused import Refused
from app.commands.saving import whole_file
from app.settings import Settings
from app.storage import upgrade
from app.storage.checkup import looking_engine
from app.storage.database import read_session, write_session
from app.storage.site_archive import About, Archive, Manifest, opened
from app.storage.site_copy import (
    look_through,
    refuse_newer,
    refuse_unless_empty,
    write_site,
)
from app.storage.site_file import made_whole
from app.version import VERSION

CAUTION: Final = (
    "It is as confidential as the site itself and is not encrypted: it holds every "
    "patient, and the hashes of passphrases. Keep it where only you can read it."
)
ENDED: Final = (
    "In the copy everybody is signed out and links that were given out do not work; "
    "passphrases and PINs stay. Settings of the environment, the log and the backups "
    "are not in it."
)


OPTION: Final = "site"


def add(_parser: Any, kinds: Any) -> None:
    kinds.add_argument(
        "--site",
        metavar="FILE",
        help="write everything into one file, which `import --site` takes in",
    )


def add_import_option(p: argparse.ArgumentParser) -> None:
    p.add_argument(
        "--site",
        metavar="FILE",
        help="take in a whole site from the file that `export --site` wrote, where no "
        "site is yet",
    )


def run(given: argparse.Namespace) -> int:
    """Export: the file is whole under its name or not there at all."""
    path = Path(given.site)
    with (
        opened_site(settings_from(given)) as engine,
        told_plainly(),
        _new_file(path) as file,
    ):
        with write_session(engine) as session:
            did(session, "exported_site")
        with read_session(engine) as session:
            made = _write(session, file)
    print(f"Wrote the whole site to {path}: {_told(made)}.\n{ENDED}")
    print(f"Caution: {CAUTION}", file=sys.stderr)
    return 0


def _write(session: Session, file: BinaryIO) -> Manifest:
    connection, progress = session.connection(), Progress("rows")
    about = About(
        made_at=datetime.now(UTC),
        app_version=VERSION,
        catalogue_edition=catalogue().edition,
        schema_revision=upgrade.newest(),
        database=connection.dialect.name,
    )
    made = write_site(connection, file, about, progress)
    progress.over()
    return made


def _told(made: Manifest) -> str:
    return f"{made.rows:,} rows of {len(made.shapes)} tables, content {made.sha256}"


@contextmanager
def _new_file(path: Path) -> Iterator[BinaryIO]:
    """What is there already is never written over."""
    if path.exists():
        raise Refused(f"{path} is there already: choose another name")
    try:
        with whole_file(path) as file:
            yield file
    except OSError as fault:
        raise Refused(f"{path} cannot be written: {fault.strerror}") from fault


def take_in(given: argparse.Namespace, settings: Settings) -> int:
    """Import, or with --dry-run only look whether an import would do."""
    if given.files or given.by or given.assign_to:
        raise Refused("--site stands alone: no CSV files, no --by, no --assign-to")
    path = Path(given.site)
    with told_plainly(), opened(path) as archive:
        _read_all(settings, archive)
        if given.dry_run:
            print(f"Nothing was imported: a dry run. {path} holds {_what(archive)}.")
            return 0
        _fill(settings, archive)
        print(f"Imported {_what(archive)}.\n{ENDED}")
    return _look_over(settings)


def _what(archive: Archive) -> str:
    made = archive.manifest
    return (
        f"the site as it was at {made.about.made_at:%Y-%m-%d %H:%M} UTC, {_told(made)}"
    )


def _read_all(settings: Settings, archive: Archive) -> None:
    """Before anything is made: whether there is room, and whether all can be read."""
    refuse_newer(archive)
    file = file_of_site(settings)
    if file is None or file.exists():
        engine = looking_engine(settings.database)
        try:
            with read_session(engine) as session:
                refuse_unless_empty(session.connection(), archive)
        finally:
            engine.dispose()
    progress = Progress("rows looked at")
    look_through(archive, progress)
    progress.over()


def _fill(settings: Settings, archive: Archive) -> None:
    with _made_at(settings) as address:
        fill(address, archive, "imported_site")


def _made_at(settings: Settings) -> AbstractContextManager[str]:
    """A file is made beside; a server is filled where it is, in one transaction."""
    if file_of_site(settings) is None:
        return nullcontext(settings.database)
    return made_whole(make_url(settings.database))


def _look_over(settings: Settings) -> int:
    """What `doctor` finds is as it was in the site that was copied, but is said."""
    found = [o for o in examined(settings) if o.check.word != "backups"]
    amiss = [outcome for outcome in found if outcome.amiss]
    if amiss:
        print(as_text(amiss), file=sys.stderr)
    if any(outcome.state == "broken" for outcome in amiss):
        print(
            "This is how it stood in the site that was copied: nothing was lost on "
            "the way.",
            file=sys.stderr,
        )
        return 1
    return 0
