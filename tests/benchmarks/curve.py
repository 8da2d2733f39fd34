"""How the lists and a patient's pages grow with the site: they must not.

Lists and a patient's pages on sites of more and more patients and trials. The baseline
of each is the same page on the smallest site. A page reads as many rows on every site,
by index, so it may take at most three times as long: an index is deeper there and less
of the file in memory, and the table counts everybody. On the last site each patient has
ten times the trials of the one before, of which brief and episode show a part.
"""

import gc
from collections.abc import Iterator
from functools import partial

from app.main import create_app
from app.settings import Settings
from app.web.deps import Site
from tests.asked import queries
from tests.benchmarks.figures import Figure, Options
from tests.benchmarks.pages import CHIEF, MINE, Page, signed_in, timed
from tests.load.site import NOW, make_site

#: Patients and trials, the smallest first.
SITES = ((100, 1_000), (1_000, 20_000), (10_000, 100_000), (10_000, 1_000_000))
QUICK_SITES = ((20, 200), (100, 2_000))
TIMES, QUICK_TIMES = 40, 5
MOST_RATIO = 3


def pages(patients: int) -> tuple[Page, ...]:
    mine = max(1, patients // 40)  # the first patient of MINE
    return (
        Page("desk", CHIEF, "/desk"),
        Page("table", CHIEF, "/desk/table"),
        Page("caseload", MINE, "/caseload"),
        Page("brief", MINE, f"/patients/{mine}"),
        Page("episode", MINE, f"/patients/{mine}/episodes/{mine}/picture"),
    )


def figures(options: Options) -> Iterator[Figure]:
    sites = QUICK_SITES if options.quick else SITES
    times = QUICK_TIMES if options.quick else TIMES
    for database in options.databases():
        smallest: dict[str, Figure] = {}
        for patients, trials in sites:
            with options.address(database) as address:
                folder = options.folder / f"curve {database} {patients} {trials}"
                settings = make_site(folder, patients, trials, address)
                size = f"{patients:,} patients, {trials:,} trials"
                yield from of_site(settings, patients, size, database, times, smallest)


def of_site(
    settings: Settings,
    patients: int,
    size: str,
    database: str,
    times: int,
    smallest: dict[str, Figure],
) -> Iterator[Figure]:
    app = create_app(settings)
    site: Site = app.state.site
    site.clock = lambda: NOW
    clients = {handle: signed_in(app, handle) for handle in (CHIEF, MINE)}
    gc.freeze()  # as a site does when it begins to serve
    for page in pages(patients):
        ask = partial(clients[page.handle].get, page.path)
        assert ask().status_code == 200, page
        with queries(site.engine) as asked:
            ask()
        (took,) = timed(ask, times=times)
        first = smallest.get(page.name)
        found = Figure(
            f"{page.name}: {size}", took.p50, "ms", database,
            first.value if first else None, "the smallest site",
            most_ratio=MOST_RATIO if first else None, note=f"{len(asked)} SELECTs",
        )  # fmt: skip
        smallest.setdefault(page.name, found)
        yield found
    gc.unfreeze()
    site.engine.dispose()
