"""A cold start: from the process's beginning until its first page was answered.

On a site made before, empty and large; on one made at that very start; and the demo,
which makes its people afresh. Beside it a bare app that opens its database and answers
a page of the same size. Processor time too, since a busy machine stretches the clock.
"""

import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from statistics import median

from app.settings import Settings
from app.storage.database import make_engine, migrate
from tests.benchmarks.figures import SQLITE, Figure, Options
from tests.live import TAPELINE, environment, started
from tests.load.browsers import browser_of
from tests.load.process import worked_s
from tests.load.site import make_site

BARE = (sys.executable, "-m", "tests.load.bare")
TIMES = 5
BUDGET_S = 2
AGAINST = "a bare app"


@dataclass(frozen=True, slots=True)
class Start:
    wall_s: float
    worked_s: float


def start(
    arguments: Sequence[str], path: str, command: Sequence[str], **settings: str
) -> Start:
    """One start and its first page, then stopped."""
    begun = time.perf_counter()
    with started(*arguments, command=command, env=environment(**settings)) as live:
        with browser_of(live.url) as browser:
            assert browser.get(path).status == 200, path
        took = time.perf_counter() - begun
        return Start(took, worked_s(live.process.pid))


def starts(one: Callable[[], Start], times: int) -> Start:
    """The median of several; the first only warms the disk's cache."""
    one()
    found = [one() for _ in range(times)]
    return Start(
        median(each.wall_s for each in found), median(each.worked_s for each in found)
    )


def serving(data: Path, database: str = "") -> Start:
    told = ("serve", "--port", "0", "--data", str(data))
    return start(told, "/sign-in", TAPELINE, TAPELINE_DATABASE_URL=database)


def demo() -> Start:
    return start(("demo", "--port", "0"), "/demo", TAPELINE)


def figures(options: Options) -> Iterator[Figure]:
    times = 1 if options.quick else TIMES
    patients, trials = (100, 2000) if options.quick else (10_000, 100_000)
    for database in options.databases():
        with ExitStack() as stack:
            empty = stack.enter_context(options.address(database))
            large = stack.enter_context(options.address(database))
            folder = options.folder / f"start {database}"
            floor = starts(partial(bare, folder / "bare", empty), times)
            _make_empty(folder / "empty", empty)
            kinds: dict[str, Callable[[], Start]] = {}
            kinds["an empty site"] = partial(serving, folder / "empty", empty)
            if database == SQLITE:
                kinds["a site made at once"] = _fresh(folder)
                kinds["the demo, people made"] = demo
            make_site(folder / "large", patients, trials, large)
            kinds[f"{patients} patients"] = partial(serving, folder / "large", large)
            for name, one in kinds.items():
                yield from rows(name, database, starts(one, times), floor)


def bare(folder: Path, database: str) -> Start:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "first.html").write_text("<p>" + 2000 * "word ")
    at = database or f"sqlite:///{folder / 'bare.sqlite'}"
    told = ("--database", at, "--pages", str(folder))
    return start(told, "/pages/first.html", BARE)


def _make_empty(folder: Path, database: str) -> None:
    """Tables and nobody in them."""
    folder.mkdir(parents=True)
    engine = make_engine(Settings(data_dir=folder, database_url=database).database)
    migrate(engine, None)
    engine.dispose()


def _fresh(folder: Path) -> Callable[[], Start]:
    made: list[Path] = []

    def one() -> Start:
        made.append(folder / f"new {len(made)}")
        return serving(made[-1])

    return one


def rows(name: str, database: str, found: Start, floor: Start) -> Iterator[Figure]:
    # The demo and a new site do work once that no later start does: told, not held.
    budget = BUDGET_S if name.startswith("an empty") or "patients" in name else None
    yield Figure(
        f"start, {name}", found.wall_s, "s", database, floor.wall_s, AGAINST,
        most=budget,
    )  # fmt: skip
    yield Figure(
        f"start, {name}: its work", found.worked_s, "s", database, floor.worked_s,
        AGAINST, note="processor time",
    )  # fmt: skip
