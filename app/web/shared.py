"""What several processes of one site tell each other: small files in the data folder.

A site of one process keeps all this in memory and writes nothing. With several, the
next tap of a page may reach another one. The files are for their owner's eyes only,
hold what the memory would have held, and are forgotten at each start.
"""

import json
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict
from datetime import date
from pathlib import Path
from shutil import rmtree
from tempfile import NamedTemporaryFile
from typing import Any, Final

from app.clinical.choosing import Today
from app.settings import Settings

FOLDER: Final = "between-workers"


class Shared:
    """Values by name. Whoever writes last is right; half a value is never read."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)

    def tell(self, name: str, value: Any) -> None:
        with NamedTemporaryFile("w", dir=self.folder, delete=False) as file:
            json.dump(value, file)
        os.replace(file.name, self.folder / name)

    def told(self, name: str) -> Any:
        """None where nothing was told, or nothing that can be read."""
        with suppress(OSError, ValueError):
            return json.loads((self.folder / name).read_text())
        return None

    @contextmanager
    def one_at_a_time(self) -> Iterator[None]:
        """Held by one thread of one process: who looks here first may then tell."""
        import fcntl  # where several processes are offered there is one

        with open(self.folder / "lock", "a") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            yield

    def forget(self, name: str) -> None:
        (self.folder / name).unlink(missing_ok=True)


def shared_by(settings: Settings) -> Shared | None:
    """None for a site of one process."""
    if settings.workers == 1:
        return None
    return Shared(settings.data_dir / FOLDER)


def forget_all(settings: Settings) -> None:
    """What processes of an earlier start told each other."""
    rmtree(settings.data_dir / FOLDER, ignore_errors=True)


def tell_today(
    shared: Shared, person_id: int, patient_id: int, day: date, said: Today
) -> None:
    """What was said of a patient today, for whichever process is asked next."""
    known = {**asdict(said), "kit": sorted(said.kit), "day": day.isoformat()}
    shared.tell(f"today-{person_id}-{patient_id}", known)


def told_today(
    shared: Shared, person_id: int, patient_id: int
) -> tuple[date, Today] | None:
    known = shared.told(f"today-{person_id}-{patient_id}")
    if known is None:
        return None
    day = date.fromisoformat(known.pop("day"))
    return day, Today(**{**known, "kit": frozenset(known["kit"])})
