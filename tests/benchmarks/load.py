"""Fifty therapists at once at a served site, beside a bare app under the same load.

Each opens caseload, brief and round page and saves three trials, patient after patient,
with three seconds of thought between two deeds, which is several times faster than
anybody works. Then the same without any thought, which is all the server can do. An
error is whatever is no success, and every acknowledged trial must be there once.
"""

import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from statistics import median, quantiles

from tests.benchmarks.figures import POSTGRESQL, Figure, Options
from tests.faults.site import kept, served
from tests.live import Live
from tests.load.browsers import Met, Stay, together
from tests.load.ward import Ward, bare_served, make_ward

BARE = "a bare app, same load, pages of the same text, one INSERT"


@dataclass(frozen=True, slots=True)
class Size:
    therapists: int
    lasts_s: float
    bare_s: float
    flat_out_s: float
    thinks_s: float


@dataclass(frozen=True, slots=True)
class Run:
    """What was met in so many seconds, and the client's own part of one core."""

    met: Met
    took_s: float
    client: float

    @property
    def rate(self) -> float:
        return self.met.answers / self.took_s


FULL = Size(therapists=50, lasts_s=60, bare_s=20, flat_out_s=10, thinks_s=3)
QUICK = Size(therapists=5, lasts_s=5, bare_s=5, flat_out_s=2, thinks_s=0.3)


def figures(options: Options) -> Iterator[Figure]:
    size = QUICK if options.quick else FULL
    for database in options.databases():
        for workers in (1, 2) if database == POSTGRESQL else (1,):
            with ExitStack() as stack:
                address = stack.enter_context(options.address(database))
                folder = options.folder / f"load {database} {workers}"
                ward = make_ward(folder / "site", size.therapists, address)
                told = ("--workers", str(workers)) if workers > 1 else ()
                site = stack.enter_context(served(ward.settings, *told))
                bare = stack.enter_context(bare_served(folder, ward, site.live))
                name = f"load, {workers} workers" if workers > 1 else "load"
                yield from measure(ward, size, site.live, bare, name, database)


def run(
    live: Live,
    people: Sequence[tuple[str, Sequence[Stay]]],
    lasts_s: float,
    think: float,
) -> Run:
    begun, worked = time.perf_counter(), time.process_time()
    met = together(live.url, people, lasts_s, think)
    took = time.perf_counter() - begun
    return Run(met, took, (time.process_time() - worked) / took)


def measure(
    ward: Ward,
    size: Size,
    live: Live,
    bare: tuple[Live, Stay],
    name: str,
    database: str,
) -> Iterator[Figure]:
    people = [(each.token, each.stays) for each in ward.therapists]
    plain, stay = bare
    nobody = [("", [stay])] * len(people)
    floor = run(plain, nobody, size.bare_s, size.thinks_s)
    thinking = run(live, people, size.lasts_s, size.thinks_s)
    flat_floor = run(plain, nobody, size.flat_out_s / 2, 0)
    flat_out = run(live, people, size.flat_out_s, 0)
    yield from _answers(name, database, thinking, floor)
    told = f"{len(people)} people, none of them thinks"
    yield Figure(
        f"{name}: all it can do", flat_out.rate, "/s", database, flat_floor.rate, BARE,
        note=f"{told}; a page p95 {_p95(flat_out.met.pages):.0f} ms, "
        f"client {100 * flat_out.client:.0f} % of a core",
    )  # fmt: skip
    yield from _sound(name, database, ward, (thinking.met, flat_out.met))


def _answers(name: str, database: str, found: Run, floor: Run) -> Iterator[Figure]:
    for what, ours, bare in (
        ("page", found.met.pages, floor.met.pages),
        ("save", found.met.saves, floor.met.saves),
    ):
        for kind, of in (("p50", median), ("p95", _p95)):
            yield Figure(
                f"{name}: {what} {kind}", of(ours), "ms", database, of(bare), BARE,
                note=f"{len(ours)} of them",
            )  # fmt: skip
    yield Figure(f"{name}: answers", found.rate, "/s", database, floor.rate, BARE)
    yield Figure(
        f"{name}: the client's own work", 100 * found.client, "% core", database,
        most=25, note="or the client would be what is measured",
    )  # fmt: skip


def _p95(of: Sequence[float]) -> float:
    return quantiles(of, n=20)[-1]


def _sound(
    name: str, database: str, ward: Ward, mets: Sequence[Met]
) -> Iterator[Figure]:
    kinds = sum((met.errors for met in mets), start=type(mets[0].errors)())
    told = ", ".join(f"{count} {kind}" for kind, count in kinds.most_common())
    sent = {uid: ms for met in mets for uid, ms in met.saved.items()}
    there = kept(ward.settings, list(sent))
    amiss = sum(there.get(uid) != [ms] for uid, ms in sent.items())
    yield Figure(f"{name}: errors", kinds.total(), "", database, most=0, note=told)
    yield Figure(
        f"{name}: trials lost or doubled", amiss, "", database, most=0,
        note=f"of {len(sent)} acknowledged",
    )  # fmt: skip
