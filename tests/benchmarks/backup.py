"""A backup while people work: its memory, and what it costs the pages meanwhile.

The baseline of a page is the same page of the same site with no backup running.
"""

import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from uuid import uuid4

from fastapi import FastAPI
from starlette.testclient import TestClient

from app.commands.backup_clock import BackupClock
from app.main import create_app
from app.settings import Settings
from tests.benchmarks.figures import Figure, Options
from tests.benchmarks.pages import signed_in
from tests.live import ROOT, environment
from tests.load.site import NOW, make_site

SECRET = "a heron beside the mill"
#: The memory of `tapeline backup`, whatever the size of its site.
MOST_MB = 150
TIMES = 60


@dataclass(frozen=True, slots=True)
class Asked:
    """A request of somebody at work."""

    name: str
    send: Callable[[], object]


def figures(options: Options) -> Iterator[Figure]:
    patients, trials = (100, 2000) if options.quick else (1000, 100_000)
    for database in options.databases():
        with options.address(database) as address:
            made = make_site(
                options.folder / f"backup {database}", patients, trials, address
            )
            yield from memory(made, database)
            yield from latency(made, database, patients)


#: Of the process itself: what wait4 tells may be that of who started it.
PROGRAM = """
import re, sys
from pathlib import Path
from app.cli import main
assert main(["backup", "--data", sys.argv[1], "--to", sys.argv[2]]) == 0
print(re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1])
"""


def memory(settings: Settings, database: str) -> Iterator[Figure]:
    """The most that the command ever held, by what Linux says of its process."""
    to = settings.data_dir / "by-hand.backup"
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, str(settings.data_dir), str(to)],
        cwd=ROOT, capture_output=True, text=True, check=True,
        env=environment(
            TAPELINE_BACKUP_PASSPHRASE=SECRET,
            TAPELINE_DATABASE_URL=settings.database_url,
        ),
    )  # fmt: skip
    yield Figure(
        "tapeline backup: most memory", int(done.stdout.split()[-1]) / 1024, "MB",
        database, most=MOST_MB, note=f"{to.stat().st_size / 1e6:.1f} MB written",
    )  # fmt: skip


def latency(settings: Settings, database: str, patients: int) -> Iterator[Figure]:
    """Of pages beside a backup that the site makes by itself, in its own process."""
    backups = {"backup_passphrase": SECRET, "backup_every_hours": 1}
    app = create_app(settings.model_copy(update=backups))
    app.state.site.clock = lambda: NOW
    asked = requests_of(app, max(1, patients // 40))
    for each in asked:  # the first of each fills caches
        each.send()
    alone = [took(asked) for _ in range(TIMES)]
    beside, seconds = during(BackupClock(app.state.site), asked)
    told = f"{len(beside)} of each in {seconds:.0f} s of backup"
    for place, each in enumerate(asked):
        for name, share in (("p50", 0.5), ("p95", 0.95)):
            yield Figure(
                f"{each.name} during a backup: {name}",
                at(share, [row[place] for row in beside]), "ms", database,
                at(share, [row[place] for row in alone]), "no backup", note=told,
            )  # fmt: skip
    app.state.site.engine.dispose()


def requests_of(app: FastAPI, round_id: int) -> list[Asked]:
    chief, therapist = signed_in(app, "supervisor"), signed_in(app, "therapist0")
    return [
        Asked("desk", lambda: look(chief)),
        Asked("saving a trial", lambda: save(therapist, round_id)),
    ]


def look(client: TestClient) -> None:
    assert client.get("/desk").status_code == 200


def save(client: TestClient, round_id: int) -> None:
    uid = uuid4().hex
    answer = client.post(
        f"/rounds/{round_id}/trials", data={"uid": uid, "typed": "15.4"}
    )
    assert answer.headers.get("tapeline-saved") == uid, answer.status_code


def took(asked: list[Asked]) -> list[float]:
    """Milliseconds of one of each, one after the other."""
    times = []
    for each in asked:
        started = time.perf_counter()
        each.send()
        times.append(1000 * (time.perf_counter() - started))
    return times


def during(clock: BackupClock, asked: list[Asked]) -> tuple[list[list[float]], float]:
    """What everything takes from the backup's begin to its end, and how long it is."""
    thread = threading.Thread(target=clock.turn)
    started, rows = time.perf_counter(), []
    thread.start()
    while thread.is_alive():
        rows.append(took(asked))
    seconds = time.perf_counter() - started
    assert list(clock.settings.backups.glob("*-auto.backup"))
    return rows, seconds


def at(share: float, times: list[float]) -> float:
    return sorted(times)[int(share * (len(times) - 1))]
