"""`tapeline backup`: one encrypted backup of a site, while people go on working."""

import argparse
import getpass
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Engine

from app.commands.backing_up import Made, back_up, back_up_into
from app.commands.opening import (
    add_data_option,
    served_engine,
    settings_from,
    told_plainly,
)
from app.commands.progress import Progress
from app.commands.refused import Refused
from app.guessing import why_not
from app.settings import SHORTEST_SECRET, Settings
from app.storage.backup_files import only_one

KEEP: Final = (
    "Keep the passphrase where you will find it when this machine is gone: without it "
    "nobody can open the backup, and there is no other way in. Keep a copy of the file "
    "on another machine."
)


def add(commands: Any) -> None:
    p: argparse.ArgumentParser = commands.add_parser(
        "backup",
        help="write an encrypted backup of the site; people go on working",
        epilog="The passphrase is read from TAPELINE_BACKUP_PASSPHRASE or the file of "
        "TAPELINE_BACKUP_PASSPHRASE_FILE, or asked for."
        "\n\nexample:\n  tapeline backup --data ~/tapeline --to /media/stick",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    p.add_argument(
        "--to",
        metavar="FILE|DIR",
        help="a folder that is there, or a new file; default: the site's backups",
    )
    add_data_option(p, "the site's folder; default: TAPELINE_DATA_DIR or your own")
    p.set_defaults(run=run)


def run(given: argparse.Namespace) -> int:
    settings = settings_from(given)
    with served_engine(settings) as engine, told_plainly():
        passphrase = passphrase_of(settings, twice=True)
        with only_one(settings.data_dir):
            made = _make(settings, engine, given.to, passphrase)
    _tell(made, passphrase)
    return 0


def _make(settings: Settings, engine: Engine, to: str | None, passphrase: str) -> Made:
    """Into a folder under the name of its time, else under the name that was given."""
    now, progress = datetime.now(UTC), Progress("rows")
    path = settings.backups if to is None else Path(to)
    if to is None or path.is_dir():
        made = back_up_into(
            settings, engine, path, passphrase, now=now, progress=progress,
            by_itself=False,
        )  # fmt: skip
    else:
        made = back_up(engine, path, passphrase, now=now, progress=progress)
    progress.over()
    return made


def _tell(made: Made, passphrase: str) -> None:
    what = made.content
    print(
        f"Wrote {made.path}: {what.rows:,} rows of {len(what.shapes)} tables, content "
        f"{what.sha256}. It was read back and is whole."
    )
    print(KEEP, file=sys.stderr)
    if not made.noted:
        print("The audit trail could not be told of it.", file=sys.stderr)
    if weak := why_not(passphrase):
        print(f"Caution: the passphrase is weak. {weak}", file=sys.stderr)


def passphrase_of(settings: Settings, *, twice: bool) -> str:
    """The one that was set, else typed; to make a backup twice, since it is blind."""
    try:
        if settings.backup_secret:
            return settings.backup_secret
    except ValueError as fault:
        raise Refused(str(fault)) from fault
    if not sys.stdin.isatty():
        raise Refused(
            "set TAPELINE_BACKUP_PASSPHRASE or TAPELINE_BACKUP_PASSPHRASE_FILE, or run "
            "this where it can ask"
        )
    typed = getpass.getpass("Passphrase of the backup: ").strip()
    if twice and len(typed) < SHORTEST_SECRET:
        raise Refused(f"use {SHORTEST_SECRET} letters at least; 4 or 5 words are best")
    if twice and getpass.getpass("The same again: ").strip() != typed:
        raise Refused("the two are not the same; nothing was written")
    return typed
