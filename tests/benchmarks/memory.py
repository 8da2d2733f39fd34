"""Memory of a served site after its start and after many pages, beside a bare app's.

Eight browsers ask at once for pages of every kind, so that the server's threads and
connections are there. What it holds is Pss, in MB of 10^6 bytes. A leak would show
between the middle and the end: that growth has a budget of its own.
"""

from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import cycle, islice

from tests.benchmarks.figures import POSTGRESQL, SQLITE, Figure, Options
from tests.faults.site import served
from tests.live import Live
from tests.load.browsers import browser_of
from tests.load.process import memory_mb
from tests.load.ward import Ward, bare_served, make_ward

THERAPISTS, BROWSERS = 8, 8
#: PostgreSQL has no leak of its own to show: a part of the requests is enough.
REQUESTS = {SQLITE: 10_000, POSTGRESQL: 2000}
QUICK = 300
BUDGET_MB, GROWTH_MB = 150, 4
BARE = "a bare app after as many"
PAGES = (
    "/caseload", "/patients/{patient}", "/rounds/{round}", "/activities", "/help",
    "/patients/find?q=Invented", "/patients/{patient}/treat", "/kit", "/practice",
    "/practice/scoring", "/account", "/patients/{patient}/measures",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Held:
    """MB at the first page, half way through, and at the end."""

    first: float
    half: float
    end: float


def figures(options: Options) -> Iterator[Figure]:
    for database in options.databases():
        with options.address(database) as address:
            folder = options.folder / f"memory {database}"
            ward = make_ward(folder / "site", THERAPISTS, address)
            requests = QUICK if options.quick else REQUESTS[database]
            with served(ward.settings) as site:
                found = held(site.live, ward, requests, _pages(ward))
                with bare_served(folder, ward, site.live) as (plain, stay):
                    floor = held(plain, ward, requests, [stay.pages] * BROWSERS)
            yield from rows(database, found, floor, requests)


def _pages(ward: Ward) -> list[tuple[str, ...]]:
    """For each browser its own addresses."""
    found = []
    for who in ward.therapists[:BROWSERS]:
        _, brief, round = who.stays[0].pages
        told = {"patient": brief.rpartition("/")[2], "round": round.rpartition("/")[2]}
        found.append(tuple(page.format(**told) for page in PAGES))
    return found


def held(
    live: Live, ward: Ward, requests: int, pages: Sequence[tuple[str, ...]]
) -> Held:
    tokens, pid = [who.token for who in ward.therapists], live.process.pid
    each = requests // 2 // BROWSERS

    def ask(number: int) -> None:
        with browser_of(live.url, tokens[number]) as browser:
            for path in islice(cycle(pages[number]), each):
                answer = browser.get(path)
                assert answer.status == 200, (path, answer.status)

    first = memory_mb(pid)
    found = []
    with ThreadPoolExecutor(BROWSERS) as browsers:
        for _ in range(2):
            list(browsers.map(ask, range(BROWSERS)))
            found.append(memory_mb(pid))
    return Held(first, *found)


def rows(database: str, found: Held, floor: Held, requests: int) -> Iterator[Figure]:
    yield Figure(
        "memory at the first page", found.first, "MB", database, floor.first, BARE,
        most=BUDGET_MB,
    )  # fmt: skip
    yield Figure(
        f"memory after {requests} pages", found.end, "MB", database, floor.end, BARE,
        most=BUDGET_MB,
    )  # fmt: skip
    half = requests // 2
    yield Figure(
        f"memory gained from {half} to {requests}", found.end - found.half, "MB",
        database, floor.end - floor.half, BARE,
        # A short run still fills caches.
        most=GROWTH_MB if requests == REQUESTS[SQLITE] else None,
        note=f"{1000 * (found.end - found.half) / half:.2f} MB for each 1,000",
    )  # fmt: skip
