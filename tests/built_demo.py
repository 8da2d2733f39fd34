"""The invented site, built once for a run of tests, however many processes it has."""

import fcntl
import shutil
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from app.catalogue.load import catalogue
from app.commands.demo_files import read_story
from app.commands.demo_site import build
from app.resources import folder
from app.storage.database import make_engine, migrate

UTC_ZONE: Final = ZoneInfo("UTC")
#: Copies the demo's database to a path: as of today, or of a moment and its zone.
CopyDemo = Callable[..., Path]


def copier(shared: Path) -> CopyDemo:
    """`shared` is a folder of all processes of the run."""

    def copy(to: Path, now: datetime | None = None, zone: ZoneInfo = UTC_ZONE) -> Path:
        # Of this day: a run that goes on over midnight builds another.
        moment = now or datetime.now(UTC)
        when = f"{now:%Y%m%dT%H%M%S%fZ}" if now else f"{moment:%Y%m%d}"
        built = shared / f"demo-{when}-{zone.key.replace('/', '-')}.sqlite"
        with built.with_suffix(".lock").open("w") as one:
            fcntl.flock(one, fcntl.LOCK_EX)
            if not built.exists():
                _build(built, moment, zone)
        return Path(shutil.copy(built, to))

    return copy


def _build(built: Path, now: datetime, zone: ZoneInfo) -> None:
    half, shelf = built.with_suffix(".part"), catalogue()
    engine = make_engine(f"sqlite:///{half}")
    migrate(engine, None)
    build(engine, shelf, read_story(folder("demo_data"), shelf), now=now, zone=zone)
    # Closed by the last connection, the file holds all that its log held.
    engine.dispose()
    half.rename(built)
