"""Backups that a serving site makes by itself: one thread, one backup at a time.

Several workers, or several programs on one data folder, look at the same folder under
the same lock, so that only one of them makes each backup.
"""

import logging
import threading
import time
from datetime import datetime, timedelta
from typing import Final

from sqlalchemy.exc import DBAPIError

from app.commands.refused import Refused
from app.settings import Settings
from app.storage.backup_files import (
    BackupRunning,
    Tried,
    is_due,
    last_try,
    note_try,
    only_one,
    own_files,
    until,
)
from app.storage.errors import StorageProblem
from app.storage.faults import meant_by
from app.web.deps import Site

log = logging.getLogger("tapeline.problems")
#: A site answers its first pages before it begins.
FIRST_S: Final = 20
LOOK_EVERY_S: Final = 60
#: How soon one that failed is tried again.
AGAIN: Final = timedelta(minutes=15)
#: Of each piece of work, this long at most is left to the pages.
LONGEST_PAUSE_S: Final = 0.05


class _Stopping(Exception):
    """The site stops: what was begun is left, and goes."""


class BackupClock:
    """Looks every minute whether a backup is due, and makes it."""

    def __init__(self, site: Site) -> None:
        self.site, self.settings = site, site.settings
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._worked_since = 0.0

    def start(self) -> None:
        """Where backups are asked for; else nothing is started."""
        if self.settings.backup_every is not None:
            self._thread = threading.Thread(
                target=self._run, name="backups", daemon=True
            )
            self._thread.start()

    def stop(self) -> None:
        self._stop.set()
        if self._thread is not None:
            self._thread.join()

    def _run(self) -> None:
        wait = FIRST_S
        while not self._stop.wait(wait):
            self.turn()
            wait = LOOK_EVERY_S

    def turn(self) -> None:
        """Make a backup if one is due. Whatever goes wrong is kept for the desk."""
        now = self.site.clock()
        if not due(self.settings, now):
            return
        try:
            self._make(now)
        except (_Stopping, BackupRunning):
            return
        except Exception as fault:  # the next try must come, whatever this was
            log.exception("backup failed")
            self._note(Tried(now, words_of(fault)))
        else:
            self._note(Tried(now, ""))

    def _make(self, now: datetime) -> None:
        from app.commands.backing_up import back_up_into

        with only_one(self.settings.data_dir):
            if not due(self.settings, now):  # another worker was quicker
                raise BackupRunning
            self._worked_since = time.monotonic()
            back_up_into(
                self.settings, self.site.engine, self.settings.backups,
                self.settings.backup_secret, now=now, progress=self._leave_room,
                by_itself=True,
            )  # fmt: skip

    def _note(self, tried: Tried) -> None:
        try:
            note_try(self.settings.data_dir, tried)
        except OSError:  # the log has it; a full disk shows as a late backup
            log.exception("the try could not be noted")

    def _leave_room(self, _done: int, _of: int) -> None:
        """Between pieces as long a pause as the piece took: pages go first."""
        took = time.monotonic() - self._worked_since
        if self._stop.wait(min(took, LONGEST_PAUSE_S)):
            raise _Stopping
        self._worked_since = time.monotonic()


def due(settings: Settings, now: datetime) -> bool:
    """After a failed try a little later again; else by the newest made by itself."""
    every = settings.backup_every
    if every is None:
        return False
    tried = last_try(settings.data_dir)
    if tried and tried.failed and not is_due(tried.at, min(AGAIN, every), now):
        return False
    whole, _ = own_files(settings.backups, settings.data_dir)
    made = [file for file in until(whole, now) if file.by_itself]
    return is_due(made[0].made_at if made else None, every, now)


def words_of(fault: Exception) -> str:
    """What a person is told. Texts of the database may hold values, so not those."""
    named = meant_by(fault)
    if named is not None:
        return named.sentence
    if isinstance(fault, StorageProblem):
        return fault.sentence
    if isinstance(fault, OSError):
        return f"{fault.filename or 'a file'} cannot be used: {fault.strerror}."
    if isinstance(fault, DBAPIError):
        return "the database could not be read. The site's log has more."
    if isinstance(fault, Refused | ValueError):
        return f"{fault}."
    return f"an unexpected fault ({type(fault).__name__}). The site's log has it."
