"""A real browser on a phone-sized page, against a live server on real SQLite.

Without a browser the journeys are skipped with the reason; with
TAPELINE_REQUIRE_BROWSER set, as in continuous integration, that is a failure.
"""

import os
import shutil
import socket
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

import pytest
import uvicorn
from fastapi import FastAPI
from playwright.sync_api import (
    Browser,
    BrowserContext,
    Locator,
    Page,
    expect,
    sync_playwright,
)

from app.storage import people
from app.storage.database import write_session
from tests.conftest import Clock, person_by

AXE = Path(__file__).parent.parent / "vendor/axe-4.14.1.min.js"
QUIET = ("--no-sandbox", "--disable-background-networking", "--disable-quic",
         "--disable-component-update", "--no-first-run")  # fmt: skip
PHONE = {"width": 390, "height": 844}
#: Beside other workers a page takes its time; what never comes still fails.
PATIENCE_MS = 20_000


def chromium_path() -> str | None:
    return shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    chromium = chromium_path()
    if chromium is None:
        reason = "no Chromium on this machine: the browser journeys need one"
        if os.environ.get("TAPELINE_REQUIRE_BROWSER"):
            pytest.fail(reason)
        pytest.skip(reason)
    expect.set_options(timeout=PATIENCE_MS)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=QUIET)
        yield browser
        browser.close()


@dataclass
class Live:
    """A running server. `stop` and `start` it as a cable would."""

    app: FastAPI
    port: int
    server: uvicorn.Server | None = None
    thread: threading.Thread | None = None

    @property
    def url(self) -> str:
        return f"http://localhost:{self.port}"

    def start(self) -> None:
        config = uvicorn.Config(
            self.app,
            port=self.port,
            log_level="error",
            access_log=False,
            lifespan="off",
        )
        self.server = uvicorn.Server(config)
        self.thread = threading.Thread(target=self.server.run, daemon=True)
        self.thread.start()
        _until(lambda: bool(self.server and self.server.started))

    def stop(self) -> None:
        if self.server and self.thread:
            self.server.should_exit = True
            self.thread.join(10)


def _until(true: Callable[[], bool]) -> None:
    end = time.monotonic() + 10
    while not true():
        assert time.monotonic() < end, "waited ten seconds in vain"
        time.sleep(0.02)


@pytest.fixture
def live(app: FastAPI) -> Iterator[Live]:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    live = Live(app, port)
    live.start()
    yield live
    live.stop()


@dataclass
class Phone:
    """A signed-in page, and everything its console complained of."""

    page: Page
    context: BrowserContext
    live: Live
    complaints: list[str] = field(default_factory=list)
    forgiven: list[str] = field(default_factory=list)

    def forgive(self, *words: str) -> None:
        """The browser's own remarks on what this test does on purpose.

        They hold to the end: a remark may come long after the deed that it is about.
        """
        self.forgiven += words

    def faults(self) -> list[str]:
        return [
            said
            for said in self.complaints
            if not any(words in said for words in self.forgiven)
        ]

    def goto(self, path: str) -> None:
        self.page.goto(self.live.url + path)

    def follow(self, link: Locator) -> None:
        """Tap what leads to another page, and be there."""
        with self.page.expect_navigation():
            link.tap()

    def axe(self, where: str) -> None:
        """No accessibility violation on what is shown now."""
        if not self.page.evaluate("'axe' in window"):
            self.page.evaluate(AXE.read_text())
        found = self.page.evaluate(
            "async () => (await axe.run({ resultTypes: ['violations'] }))"
            ".violations.map(v => v.id + ': ' + "
            "v.nodes.slice(0, 3).map(n => n.html.slice(0, 160)).join(' | '))"
        )
        assert found == [], f"{where}: {found}"

    def fits(self) -> None:
        """Nothing pushes the page sideways."""
        wide = self.page.evaluate(
            "(e => e.scrollWidth - e.clientWidth)(document.documentElement)"
        )
        assert wide <= 0, f"{wide} px wider than the screen"


OpenPhone = Callable[..., Phone]


@pytest.fixture
def today(clock: Clock) -> datetime:
    """The site lives in the phone's time, since results are dated by the phone."""
    clock.now = datetime.now(UTC)
    return clock.now


@pytest.fixture
def open_phone(browser: Browser, live: Live, clock: Clock) -> Iterator[OpenPhone]:
    """Opens a phone signed in as `handle`; at the end nothing may have complained."""
    opened: list[Phone] = []

    def open_one(handle: str = "therapist", **options: object) -> Phone:
        given = {"viewport": PHONE, "has_touch": True, "is_mobile": True, **options}
        context = browser.new_context(**given)  # type: ignore[arg-type]
        with write_session(live.app.state.site.engine) as session:
            token = people.start_sign_in(session, person_by(session, handle), clock())
        cookie = {"name": "tapeline", "value": token, "url": live.url, "httpOnly": True}
        context.add_cookies([cookie])  # type: ignore[list-item]
        phone = Phone(context.new_page(), context, live)
        phone.page.on(
            "console",
            lambda m: phone.complaints.append(m.text) if m.type == "error" else None,
        )
        phone.page.on("pageerror", lambda e: phone.complaints.append(str(e)))
        opened.append(phone)
        return phone

    yield open_one
    for phone in opened:
        phone.context.close()
        assert phone.faults() == []


@pytest.fixture
def phone(open_phone: OpenPhone) -> Phone:
    return open_phone()
