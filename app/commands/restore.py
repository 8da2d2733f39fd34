"""`tapeline restore`: a backup back into a place where no site is.

Everything is read and checked first. A SQLite site is made beside (`made_whole`), a
PostgreSQL one is filled in one transaction.
"""

import argparse
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any, Final

from sqlalchemy import make_url

from app.commands.backing_up import opened
from app.commands.backup import passphrase_of
from app.commands.filling import fill
from app.commands.opening import (
    add_data_option,
    file_of_site,
    refuse_demo_folder,
    settings_from,
    told_plainly,
)
from app.commands.refused import Refused
from app.settings import Settings
from app.storage.restored import end_what_lets_in
from app.storage.sealed import Head, altered, read_head
from app.storage.site_archive import Archive, archive_in
from app.storage.site_copy import SiteNotEmpty, refuse_newer
from app.storage.site_file import SiteThere, made_whole, make_room

ENDED: Final = (
    "Everybody is signed out; links that were given out and PINs of phones do not work "
    "any more; passphrases are as they were. What was entered after the backup was "
    "made is not in it. `tapeline doctor` looks the site over."
)


def add(commands: Any) -> None:
    p: argparse.ArgumentParser = commands.add_parser(
        "restore",
        help="bring a site back from an encrypted backup, where no site is",
        epilog="The passphrase is read from TAPELINE_BACKUP_PASSPHRASE or the file of "
        "TAPELINE_BACKUP_PASSPHRASE_FILE, or asked for."
        "\n\nexample:\n  tapeline restore tapeline-20261130T120000Z.backup "
        "--data ~/new",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    p.add_argument("file", metavar="FILE", help="what `tapeline backup` wrote")
    add_data_option(p, "the site's folder; default: TAPELINE_DATA_DIR or your own")
    p.set_defaults(run=run)


def run(given: argparse.Namespace) -> int:
    settings, path = settings_from(given), Path(given.file)
    refuse_demo_folder(settings)
    if not path.is_file():
        raise Refused(f"{path}: there is no such file")
    with told_plainly():
        with path.open("rb") as file:
            read_head(file)  # before anybody is asked for anything
        _refuse_full(settings)
        passphrase = passphrase_of(settings, twice=False)
        with opened(path, passphrase) as (head, packed), archive_in(packed) as archive:
            _refuse_other(head, archive)
            restore_into(settings, archive)
    _tell(settings, archive)
    return 0


def _tell(settings: Settings, archive: Archive) -> None:
    made = archive.manifest
    where = settings.data_dir if file_of_site(settings) else "the database"
    print(
        f"Restored the site as it was at {made.about.made_at:%Y-%m-%d %H:%M} UTC into "
        f"{where}: {made.rows:,} rows, content {made.sha256}.\n{ENDED}"
    )


def _refuse_full(settings: Settings) -> None:
    """Early, before a passphrase is asked for; a server is asked when it is filled."""
    if file_of_site(settings) is not None:
        make_room(make_url(settings.database))


def _refuse_other(head: Head, archive: Archive) -> None:
    """What the head told without the passphrase is what the archive is."""
    made = archive.manifest
    told = (head.told.content_sha256, head.told.schema_revision, head.told.made_at)
    about = (made.sha256, made.about.schema_revision, made.about.made_at)
    if told != about:
        raise altered("it holds another site than its head says")
    refuse_newer(archive)


def restore_into(settings: Settings, archive: Archive) -> None:
    """All of it, or nothing: what was made for nothing goes again."""
    if file_of_site(settings) is None:
        _fill_server(settings, archive)
        return
    with made_whole(make_url(settings.database)) as address:
        _fill(address, archive)


def _fill_server(settings: Settings, archive: Archive) -> None:
    try:
        _fill(settings.database, archive)
    except SiteNotEmpty as fault:
        raise SiteThere(
            "The database holds something already. Nothing was restored: name a new, "
            "empty one in TAPELINE_DATABASE_URL."
        ) from fault


def _fill(address: str, archive: Archive) -> None:
    ended = partial(end_what_lets_in, now=datetime.now(UTC))
    fill(address, archive, "restored_site", ending=ended)
