"""A site's folder and database, opened for a command; a problem becomes one line."""

import argparse
import errno
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Engine, make_url
from sqlalchemy.exc import DBAPIError
from sqlalchemy.exc import TimeoutError as NoneFree
from sqlmodel import Session

from app.commands.demo_folder import is_demo_folder
from app.commands.refused import Refused
from app.settings import Settings, SettingsProblem
from app.storage import audit

# What an entry of the trail points at must be known when one is written.
from app.storage import people as people
from app.storage.cipher import file_of
from app.storage.database import make_engine, migrate
from app.storage.errors import StorageProblem
from app.storage.faults import meant_by

FULL: Final = {errno.ENOSPC, errno.EDQUOT}


def add_data_option(p: argparse.ArgumentParser, help: str) -> None:
    p.add_argument("--data", metavar="DIR", dest="data_dir", help=help)


def settings_from(given: argparse.Namespace, **fixed: Any) -> Settings:
    """The environment's settings, the command line's options before them."""
    options = {
        name: value
        for name in ("data_dir", "host", "port", "tls_port", "workers")
        if (value := getattr(given, name, None)) is not None
    }
    with told_plainly():
        return Settings.read({**options, **fixed})


@contextmanager
def told_plainly() -> Iterator[None]:
    """Turn what a site can refuse into the command's own refusal."""
    try:
        yield
    except (SettingsProblem, StorageProblem) as problem:
        raise Refused(problem.sentence) from problem
    except (DBAPIError, NoneFree) as fault:
        named = meant_by(fault)
        if named is not None:
            raise Refused(named.sentence) from fault
        why = str(getattr(fault, "orig", fault)).partition("\n")[0]
        raise Refused(f"the database cannot be used: {why}") from fault
    except OSError as fault:
        if fault.filename:
            raise Refused(f"{fault.filename}: {fault.strerror}") from fault
        # A write that fails names no file.
        room = ". Make room and try again" if fault.errno in FULL else ""
        raise Refused(f"a file could not be written: {fault.strerror}{room}") from fault


def refuse_demo_folder(settings: Settings) -> None:
    """Nobody real goes where the next demo sweeps everything away."""
    if is_demo_folder(settings.data_dir):
        raise Refused(
            f"{settings.data_dir} holds a demo site, made afresh at each start: "
            "choose another folder with --data"
        )


def did(session: Session, deed: str) -> None:
    """Into the audit trail. Nobody is signed in: whoever may read the folder may."""
    audit.append(
        session, person_id=None, deed=deed, subject="site", subject_id=1,
        now=datetime.now(UTC),
    )  # fmt: skip


def file_of_site(settings: Settings) -> Path | None:
    """The file of a SQLite site, there or not; None on PostgreSQL."""
    address = make_url(settings.database)
    return file_of(address) if address.get_backend_name() == "sqlite" else None


def refuse_unless_there(settings: Settings) -> None:
    """Opening a SQLite file that is not there would make an empty one."""
    file = file_of_site(settings)
    if file is not None and not file.is_file():
        where = file if settings.database_url else settings.data_dir
        raise Refused(f"there is no site in {where} yet")


@contextmanager
def opened_site(settings: Settings) -> Iterator[Engine]:
    """The database of a site that is there, brought up to date."""
    with served_engine(settings) as engine, told_plainly():
        migrate(engine, settings.data_dir / "backups")
        yield engine


@contextmanager
def served_engine(settings: Settings) -> Iterator[Engine]:
    """The database of a site that is there, in whatever version it is."""
    refuse_unless_there(settings)
    with told_plainly():
        engine = make_engine(settings.database)
        try:
            yield engine
        finally:
            engine.dispose()
