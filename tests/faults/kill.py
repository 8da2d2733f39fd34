"""Kill a serving site without warning, again and again, while eight people record.

python -m tests.faults.kill --rounds 200

After each kill the site is started again and looked over: every trial it had answered
for is there exactly once, with its time; what it had not answered for is sent again and
is then there once too; the doctor finds nothing. Prints a table and, last, one line of
JSON. Exit code 1: something was lost, doubled or broken, or a start took five seconds
of processor time, which on a quiet machine is what passes on the clock.
"""

import argparse
import json
import random
import sys
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from threading import Thread
from time import monotonic, sleep
from uuid import uuid4

import httpx

from app.settings import Settings
from tests.faults.site import (
    Answered,
    Writer,
    amiss,
    browser,
    kept,
    load,
    make_site,
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
            except httpx.TransportError:
                return


def strike(live: Live, everybody: Sequence[Sent], rng: random.Random) -> float:
    """Let everybody record, kill the site at random; the seconds until then."""
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
    live.process.kill()
    took = monotonic() - begun
    for thread in threads:
        thread.join(LONGEST_S)
    live.process.wait(LONGEST_S)
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
        amiss=tuple(amiss(settings)),
        restart_s=round(again.took, 2),
        restart_work_s=round(again.worked, 2),
    )


def killed_rounds(settings: Settings, rounds: int, seed: int) -> Iterator[Killed]:
    """A site that is killed in each round; the next start is looked at, and killed."""
    rng = random.Random(seed)
    everybody: list[Sent] = []
    begun_s = 0.0
    for number in range(rounds + 1):
        with served(settings) as site:
            if number:
                yield look_over(settings, site, everybody, begun_s)
            if number < rounds:
                everybody = [Sent(writer) for writer in signed_in(settings)]
                begun_s = strike(site.live, everybody, rng)


def all_rounds(rounds: int, seed: int) -> Iterator[Killed]:
    for first in range(0, rounds, FRESH_EVERY):
        with TemporaryDirectory(prefix="tapeline-killed-") as folder:
            settings = make_site(Path(folder) / "site", WRITERS)
            count = min(FRESH_EVERY, rounds - first)
            yield from killed_rounds(settings, count, seed + first)


def as_line(number: int, killed: Killed) -> str:
    says = "" if killed.sound else "  <- NOT SOUND " + "; ".join(killed.amiss)
    return (
        f"{number:5} {killed.begun_s:8.3f} {killed.acknowledged:8} {killed.unsure:8} "
        f"{killed.of_these_stored:8} {killed.lost:6} {killed.doubled:8} "
        f"{killed.restart_s:10.2f} {killed.restart_work_s:8.2f}{says}"
    )


def summary(found: Sequence[Killed], seed: int) -> dict[str, object]:
    starts = sorted(killed.restart_s for killed in found)
    work = sorted(killed.restart_work_s for killed in found)
    return {
        "rounds": len(found),
        "seed": seed,
        "writers": WRITERS,
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
    given = p.parse_args()
    print(HEAD)
    found = []
    with suppress(KeyboardInterrupt):  # the figures so far are figures too
        for number, killed in enumerate(all_rounds(given.rounds, given.seed), 1):
            print(as_line(number, killed), flush=True)
            found.append(killed)
    print(json.dumps(summary(found, given.seed)))
    return 0 if all(killed.sound for killed in found) else 1


if __name__ == "__main__":
    sys.exit(main())
