"""Kill a serving site without warning, again and again, while eight people record.

python -m tests.faults.kill --rounds 200
python -m tests.faults.kill --rounds 200 --postgresql

After each kill the site is started again and looked over: every trial it had answered
for is there exactly once, with its time; what it had not answered for is sent again and
is then there once too; the doctor finds nothing. Prints a table and, last, one line of
JSON. Exit code 1: something was lost, doubled or broken, or a start took five seconds
of processor time, which on a quiet machine is what passes on the clock.

With --postgresql a server of our own keeps the site. In every third round its power
fails first: it is stopped "immediate" while people record. What it keeps is looked over
by its own amcheck; where that is not installed, the run says so.
"""

import argparse
import json
import random
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, nullcontext, suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from threading import Thread
from time import monotonic, sleep
from uuid import uuid4

import httpx

from app.settings import Settings
from tests.cluster import Cluster, own_database, thrown_away
from tests.faults.site import (
    Answered,
    Writer,
    amiss,
    browser,
    has_amcheck,
    kept,
    load,
    make_site,
    pages_amiss,
    served,
    signed_in,
)
from tests.live import LONGEST_S, Live

AS_WRITTEN = argparse.RawDescriptionHelpFormatter
WRITERS = 8
LONGEST_START_S = 5.0
HEAD = "round  after s answered   unsure of these   lost  doubled  restart s its work"
#: The kill falls at random: after so many answers at most, so that a slow machine gives
#: some too, and then within so many seconds.
MOST_ANSWERS, LONGEST_AFTER_S, LONGEST_WAIT_S = 40, 0.15, 30.0
#: A new site after so many rounds, so that looking one over stays short.
FRESH_EVERY = 20
#: The server fails too in each of so many rounds, where there is one.
SERVER_EVERY = 3
#: Who was refused waits so long, as an outbox would.
AFTER_REFUSAL_S = 0.05


@dataclass(slots=True)
class Sent:
    """What one writer sent, in thousandths of a second by id, and what was answered."""

    writer: Writer
    sent: dict[str, int] = field(default_factory=dict)
    acknowledged: set[str] = field(default_factory=set)


@dataclass(frozen=True, slots=True)
class Killed:
    """One round. `unsure` were sent and not answered for before the kill."""

    begun_s: float
    acknowledged: int
    unsure: int
    of_these_stored: int
    lost: int
    doubled: int
    amiss: tuple[str, ...]
    restart_s: float
    restart_work_s: float
    #: Whether the power of the database server failed before the site was killed.
    server: bool = False

    @property
    def sound(self) -> bool:
        slow = self.restart_work_s >= LONGEST_START_S
        return not (self.lost or self.doubled or self.amiss or slow)


def post(client: httpx.Client, writer: Writer, uid: str, ms: int) -> bool:
    """Send one trial; whether the site said that it holds it."""
    body = {"uid": uid, "typed": f"{ms / 1000:.2f}"}
    answer = client.post(f"rounds/{writer.round_id}/trials", data=body)
    # A session that locked meanwhile stores it too, and shows nothing.
    return answer.status_code < 400 and answer.headers.get("tapeline-saved") == uid


def record(live: Live, sent: Sent, rng: random.Random) -> None:
    """One person, who records until nobody answers any more."""
    with browser(live, sent.writer) as client:
        while True:
            uid, ms = uuid4().hex, rng.randrange(600, 4000) * 10
            sent.sent[uid] = ms
            try:
                if post(client, sent.writer, uid, ms):
                    sent.acknowledged.add(uid)
                else:
                    sleep(AFTER_REFUSAL_S)
            except httpx.TransportError:
                return


def strike(
    live: Live,
    everybody: Sequence[Sent],
    rng: random.Random,
    cluster: Cluster | None = None,
) -> float:
    """Let everybody record, kill the site at random; the seconds until then.

    The server that is named is stopped first, and people go on until the site is too.
    """
    threads = [
        Thread(target=record, args=(live, sent, random.Random(seed)), daemon=True)
        for seed, sent in enumerate(everybody, rng.randrange(2**32))
    ]
    answers, then_s = rng.randrange(MOST_ANSWERS + 1), rng.uniform(0, LONGEST_AFTER_S)
    begun = monotonic()
    for thread in threads:
        thread.start()
    while answered(everybody) < answers and monotonic() - begun < LONGEST_WAIT_S:
        sleep(0.001)
    sleep(then_s)
    if cluster is not None:
        cluster.stop("immediate")
    live.process.kill()
    took = monotonic() - begun
    for thread in threads:
        thread.join(LONGEST_S)
    live.process.wait(LONGEST_S)
    if cluster is not None:
        cluster.start()
    return took


def answered(everybody: Sequence[Sent]) -> int:
    return sum(len(sent.acknowledged) for sent in everybody)


def look_over(
    settings: Settings, again: Answered, everybody: Sequence[Sent], begun_s: float
) -> Killed:
    """What the site holds after its restart of what was sent to it before the kill."""
    times = {uid: ms for sent in everybody for uid, ms in sent.sent.items()}
    told = {uid for sent in everybody for uid in sent.acknowledged}
    before = kept(settings, list(times))
    lost = sum(before.get(uid) != [times[uid]] for uid in told)
    for sent in everybody:
        with browser(again.live, sent.writer) as client:
            for uid in sorted(sent.sent.keys() - sent.acknowledged):
                lost += not post(client, sent.writer, uid, times[uid])
    after = kept(settings, list(times))
    lost += sum(after.get(uid) != [ms] for uid, ms in times.items())
    return Killed(
        begun_s=round(begun_s, 3),
        acknowledged=len(told),
        unsure=len(times) - len(told),
        of_these_stored=len(before.keys() - told),
        lost=lost,
        doubled=sum(len(rows) > 1 for rows in after.values()),
        amiss=(
            *amiss(settings),
            *(pages_amiss(settings) if settings.database_url else ()),
        ),
        restart_s=round(again.took, 2),
        restart_work_s=round(again.worked, 2),
    )


def killed_rounds(
    settings: Settings, rounds: int, seed: int, cluster: Cluster | None
) -> Iterator[Killed]:
    """A site that is killed in each round; the next start is looked at, and killed."""
    rng = random.Random(seed)
    everybody: list[Sent] = []
    begun_s, failing = 0.0, None
    for number in range(rounds + 1):
        with served(settings) as site:
            if number:
                found = look_over(settings, site, everybody, begun_s)
                yield replace(found, server=failing is not None)
            if number < rounds:
                failing = cluster if number % SERVER_EVERY == SERVER_EVERY - 1 else None
                everybody = [Sent(writer) for writer in signed_in(settings)]
                begun_s = strike(site.live, everybody, rng, failing)


def all_rounds(
    rounds: int, seed: int, cluster: Cluster | None = None
) -> Iterator[Killed]:
    for first in range(0, rounds, FRESH_EVERY):
        with fresh_site(cluster) as settings:
            count = min(FRESH_EVERY, rounds - first)
            yield from killed_rounds(settings, count, seed + first, cluster)


@contextmanager
def fresh_site(cluster: Cluster | None) -> Iterator[Settings]:
    database = own_database(server=cluster.url) if cluster else nullcontext("")
    with TemporaryDirectory(prefix="tapeline-killed-") as folder, database as address:
        yield make_site(Path(folder) / "site", WRITERS, address)


def as_line(number: int, killed: Killed) -> str:
    also = "  and the server" if killed.server else ""
    says = "" if killed.sound else "  <- NOT SOUND " + "; ".join(killed.amiss)
    return (
        f"{number:5} {killed.begun_s:8.3f} {killed.acknowledged:8} {killed.unsure:8} "
        f"{killed.of_these_stored:8} {killed.lost:6} {killed.doubled:8} "
        f"{killed.restart_s:10.2f} {killed.restart_work_s:8.2f}{also}{says}"
    )


def summary(found: Sequence[Killed], seed: int) -> dict[str, object]:
    starts = sorted(killed.restart_s for killed in found)
    work = sorted(killed.restart_work_s for killed in found)
    return {
        "rounds": len(found),
        "seed": seed,
        "writers": WRITERS,
        "server_failed": sum(killed.server for killed in found),
        "acknowledged": sum(killed.acknowledged for killed in found),
        "unsure": sum(killed.unsure for killed in found),
        "unsure_stored": sum(killed.of_these_stored for killed in found),
        "lost": sum(killed.lost for killed in found),
        "doubled": sum(killed.doubled for killed in found),
        "not_sound": sum(not killed.sound for killed in found),
        "restart_s": {"median": median(starts), "longest": starts[-1]},
        "restart_work_s": {"median": median(work), "longest": work[-1]},
        "load": load(),
    }


def main() -> int:
    p = argparse.ArgumentParser(description=__doc__, formatter_class=AS_WRITTEN)
    p.add_argument("--rounds", type=int, default=200, metavar="N")
    p.add_argument("--seed", type=int, default=1, metavar="N")
    p.add_argument("--postgresql", action="store_true", help="on a server of our own")
    given = p.parse_args()
    print(HEAD)
    found = []
    server = thrown_away(durable=True) if given.postgresql else nullcontext()
    # Broken off, the figures so far are figures too.
    with server as cluster, suppress(KeyboardInterrupt):
        if cluster and not has_amcheck(cluster.url):
            print("amcheck is not installed: nobody looks over tables and indexes")
        rounds = all_rounds(given.rounds, given.seed, cluster)
        for number, killed in enumerate(rounds, 1):
            print(as_line(number, killed), flush=True)
            found.append(killed)
    print(json.dumps(summary(found, given.seed)))
    return 0 if all(killed.sound for killed in found) else 1


if __name__ == "__main__":
    sys.exit(main())
