"""Many people at one served site: threads with plain sockets, as cheap as they come.

A browser keeps its connection, asks for packed answers and unpacks none, and posts as
the phone's page does. What is no success is an error, by its kind.
"""

import random
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from http.client import HTTPConnection, HTTPException
from itertools import cycle
from threading import Thread
from typing import Final
from urllib.parse import urlencode, urlsplit
from uuid import uuid4

#: A server closes what rests for five seconds, and a browser then opens anew.
RESTED_S: Final = 3.0
PATIENCE_S: Final = 60
SAVES: Final = 3


@dataclass(frozen=True, slots=True)
class Stay:
    """Pages somebody opens one after the other, and where the trials then go."""

    pages: tuple[str, ...]
    saves_at: str


@dataclass(frozen=True, slots=True)
class Answer:
    """What came back; `ms` from asking until the last byte."""

    status: int
    saved: str
    body: bytes
    ms: float


@dataclass(slots=True)
class Met:
    """What people met: milliseconds of each answer, errors, acknowledged trials."""

    pages: list[float] = field(default_factory=list)
    saves: list[float] = field(default_factory=list)
    errors: Counter[str] = field(default_factory=Counter)
    saved: dict[str, int] = field(default_factory=dict)

    def add(self, other: "Met") -> None:
        self.pages += other.pages
        self.saves += other.saves
        self.errors += other.errors
        self.saved |= other.saved

    @property
    def answers(self) -> int:
        return len(self.pages) + len(self.saves)


class Browser:
    """One browser, signed in when it has a token."""

    def __init__(self, url: str, token: str = "", packed: bool = True) -> None:
        origin = url.rstrip("/")
        self._headers = {"origin": origin, "sec-fetch-site": "same-origin"}
        if token:
            self._headers["cookie"] = f"tapeline={token}"
        if packed:
            self._headers["accept-encoding"] = "gzip"
        told = urlsplit(origin)
        self._line = HTTPConnection(str(told.hostname), told.port, timeout=PATIENCE_S)
        self._used = 0.0

    def get(self, path: str) -> Answer:
        return self._ask("GET", path, None, {})

    def save(self, path: str, uid: str, ms: int) -> Answer:
        """Post one trial as a phone's page does, which takes a piece of page back."""
        form = urlencode({"uid": uid, "typed": f"{ms / 1000:.2f}"})
        kind = "application/x-www-form-urlencoded"
        headers = {"content-type": kind, "hx-request": "true"}
        return self._ask("POST", path, form, headers)

    def close(self) -> None:
        self._line.close()

    def _ask(
        self, method: str, path: str, body: str | None, more: dict[str, str]
    ) -> Answer:
        begun = time.perf_counter()
        if begun - self._used > RESTED_S:
            self._line.close()
        try:
            self._line.request(method, path, body, {**self._headers, **more})
            answer = self._line.getresponse()
            read = answer.read()
        except (HTTPException, OSError):
            self._line.close()
            raise
        self._used = time.perf_counter()
        saved = answer.headers.get("tapeline-saved", "")
        return Answer(answer.status, saved, read, 1000 * (self._used - begun))


def at_work(
    browser: Browser,
    stays: Sequence[Stay],
    until: float,
    think_s: float,
    rng: random.Random,
    met: Met,
) -> None:
    """One person goes from patient to patient until the time is up."""
    time.sleep(rng.uniform(0, think_s))
    deeds = _deeds(browser, stays, rng, met)
    while time.perf_counter() < until:
        try:
            next(deeds)
        except (HTTPException, OSError) as fault:
            met.errors[type(fault).__name__] += 1
            deeds = _deeds(browser, stays, rng, met)
        time.sleep(rng.uniform(0.5, 1.5) * think_s)


def _deeds(
    browser: Browser, stays: Sequence[Stay], rng: random.Random, met: Met
) -> Iterator[None]:
    for stay in cycle(stays):
        for path in stay.pages:
            answer = browser.get(path)
            met.pages.append(answer.ms)
            if answer.status != 200:
                met.errors[f"{answer.status} of a page"] += 1
            yield
        for _ in range(SAVES):
            uid, ms = uuid4().hex, rng.randrange(600, 4000) * 10
            answer = browser.save(stay.saves_at, uid, ms)
            met.saves.append(answer.ms)
            if answer.status == 200 and answer.saved == uid:
                met.saved[uid] = ms
            else:
                met.errors[f"{answer.status} of a trial"] += 1
            yield


def together(
    url: str,
    people: Sequence[tuple[str, Sequence[Stay]]],
    lasts_s: float,
    think_s: float,
) -> Met:
    """Everybody at once, each by the token of a sign-in; all they met, put together."""
    until, each = time.perf_counter() + lasts_s, [Met() for _ in people]
    with _open(url, [token for token, _ in people]) as browsers:
        threads = [
            Thread(
                target=at_work,
                args=(browser, stays, until, think_s, random.Random(seed), met),
                daemon=True,
            )
            for seed, (browser, (_, stays), met) in enumerate(
                zip(browsers, people, each, strict=True)
            )
        ]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    found = Met()
    for met in each:
        found.add(met)
    return found


@contextmanager
def _open(url: str, tokens: Sequence[str]) -> Iterator[list[Browser]]:
    browsers = [Browser(url, token) for token in tokens]
    try:
        yield browsers
    finally:
        for browser in browsers:
            browser.close()


@contextmanager
def browser_of(url: str, token: str = "", packed: bool = True) -> Iterator[Browser]:
    with closing(Browser(url, token, packed)) as browser:
        yield browser
