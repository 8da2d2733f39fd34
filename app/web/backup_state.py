"""How a site's backups stand, in words: for the desk, the start of a site and `doctor`.

Read from the folder and from what the last try left: no database is needed for it.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final

from app.settings import Settings
from app.storage.backup_files import (
    BackupFile,
    Tried,
    last_try,
    own_files,
    until,
)
from app.web.dates import moment_words

NONE_MADE: Final = (
    "No backups are made. Set TAPELINE_BACKUP_EVERY_HOURS and a passphrase, or run "
    "`tapeline backup`: the README says how."
)
#: So many intervals without a good one are no chance any more.
LATE: Final = 2


@dataclass(frozen=True, slots=True)
class BackupState:
    """What lies in the folder and how the last try went.

    `ahead` ones bear a later time than now, so that nothing rests on them.
    """

    settings: Settings
    last: BackupFile | None
    ahead: tuple[BackupFile, ...]
    halves: tuple[Path, ...]
    tried: Tried | None

    @property
    def failed(self) -> Tried | None:
        """The last try, if it failed and nothing good came after it."""
        tried = self.tried
        if tried is None or not tried.failed:
            return None
        return None if self.last and self.last.made_at > tried.at else tried

    def is_late(self, now: datetime) -> bool:
        every = self.settings.backup_every
        if every is None or self.last is None:
            return False
        return now - self.last.made_at > LATE * every

    @property
    def last_words(self) -> str:
        if self.last is None:
            return "There is no good one yet."
        when = moment_words(self.last.made_at, self.settings.zone)
        return f"The last good one is of {when}: {self.last.path.name}."


def backup_state(settings: Settings, now: datetime) -> BackupState:
    found, halves = own_files(settings.backups, settings.data_dir)
    made = until(found, now)
    ahead = tuple(file for file in found if file not in made)
    tried = last_try(settings.data_dir)
    return BackupState(settings, made[0] if made else None, ahead, tuple(halves), tried)


def backup_trouble(settings: Settings, now: datetime) -> str:
    """What whoever runs the site has to see to; empty when there is nothing.

    Nothing either where no backups are asked for: `doctor` and each start say so.
    """
    if settings.backup_every is None:
        return ""
    state = backup_state(settings, now)
    if state.failed:
        when = moment_words(state.failed.at, settings.zone)
        return f"The backup of {when} failed: {state.failed.failed} {state.last_words}"
    if state.is_late(now):
        return f"No backup was made for longer than planned. {state.last_words}"
    return ""


def start_words(settings: Settings) -> str:
    """One line for who starts a site."""
    every, state = settings.backup_every, backup_state(settings, datetime.now(UTC))
    if every is None:
        return f"{NONE_MADE} {state.last_words}" if state.last else NONE_MADE
    hours = every // timedelta(hours=1)
    return f"Backups: every {hours} h into {settings.backups}. {state.last_words}"
