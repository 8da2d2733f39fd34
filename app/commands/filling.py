"""A whole archive into a database where no site is, for a restore and an import."""

from collections.abc import Callable

from sqlalchemy import Connection
from sqlmodel import Session

from app.commands.opening import did
from app.commands.progress import Progress
from app.storage.database import make_engine
from app.storage.site_archive import Archive
from app.storage.site_copy import site_filled


def fill(
    address: str,
    archive: Archive,
    deed: str,
    *,
    ending: Callable[[Connection], object] | None = None,
) -> None:
    """In one transaction; what was loaded must read like the archive.

    `ending` is done to what was loaded, before the deed is written down.
    """
    progress, engine = Progress("rows written and read back"), make_engine(address)
    try:
        with site_filled(engine, archive, progress) as connection:
            if ending is not None:
                ending(connection)
            with Session(connection) as session:
                did(session, deed)
            progress.over()
    finally:
        engine.dispose()
