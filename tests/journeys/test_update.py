"""A new version: offered to an idle phone, never in the way of a trial."""

import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from fastapi import FastAPI
from playwright.sync_api import Page, expect

from app import main
from app.resources import folder as packaged
from app.settings import Settings
from app.storage.trials import Trial
from tests.conftest import Clock, running
from tests.journeys.conftest import Phone
from tests.journeys.deeds import forgive
from tests.journeys.sheet import STANDS, rows, worker_ready

WAITING = "navigator.serviceWorker.ready.then((r) => Boolean(r.waiting))"
#: As a browser does by itself now and then: the first look may meet a server starting.
LOOK = """navigator.serviceWorker.ready.then(async (r) => {
  if (!r.waiting && !r.installing) await r.update().catch(() => {});
  return Boolean(r.waiting);
})"""


@contextmanager
def next_version(
    phone: Phone, settings: Settings, clock: Clock, folder: Path
) -> Iterator[FastAPI]:
    """The same site served by a program whose style sheet has changed."""
    static = folder / "static"
    shutil.copytree(packaged("static"), static)
    with (static / "app.css").open("a") as css:
        css.write("\n/* version B */\n")
    with pytest.MonkeyPatch.context() as patch:
        changed = {"static": static}
        patch.setattr(main, "folder", lambda name: changed.get(name) or packaged(name))
        with running(settings, clock) as app:
            phone.live.stop()
            phone.live.app = app
            phone.live.start()
            yield app
            phone.live.stop()


def css_of(page: Page) -> str:
    return page.locator("link[rel=stylesheet]").get_attribute("href") or ""


def caches_of(page: Page) -> list[str]:
    found: list[str] = page.evaluate("caches.keys()")
    return found


def soon(true: Callable[[], bool]) -> None:
    end = time.monotonic() + 15
    while not true():
        assert time.monotonic() < end, "waited fifteen seconds in vain"
        time.sleep(0.2)


def test_new_version_arrives_and_the_old_cache_goes(
    phone: Phone, settings: Settings, clock: Clock, tmp_path: Path
) -> None:
    phone.goto("/caseload")
    worker_ready(phone.page)
    old_css, old_cache = css_of(phone.page), caches_of(phone.page)
    with next_version(phone, settings, clock, tmp_path / "b"):
        phone.page.reload()
        phone.page.reload()
        assert css_of(phone.page) != old_css
        button = phone.page.locator("[data-update] button")
        button.wait_for(state="visible", timeout=15_000)
        phone.axe("update ready")
        assert set(old_cache) < set(caches_of(phone.page))
        phone.follow(button)
        soon(lambda: len(caches_of(phone.page)) == 1)
        assert caches_of(phone.page) != old_cache
        expect(phone.page.locator("[data-update]")).to_be_hidden()
        edition = css_of(phone.page)
    phone.page.goto(phone.live.url + "/caseload")
    expect(phone.page.locator("[data-no-network]")).to_be_visible()
    assert css_of(phone.page) == edition
    forgive(phone)


def test_new_version_never_disturbs_a_trial(
    phone: Phone, settings: Settings, clock: Clock, tmp_path: Path, patient_id: int
) -> None:
    phone.goto(f"/patients/{patient_id}/measures/{STANDS}/ready")
    phone.follow(phone.page.locator("button[form=ready]"))
    worker_ready(phone.page)
    phone.page.locator("[data-pad]").tap()
    with next_version(phone, settings, clock, tmp_path / "b"):
        soon(lambda: bool(phone.page.evaluate(LOOK)))
        phone.page.wait_for_timeout(2500)
        expect(phone.page.locator("[data-update]")).to_be_hidden()
        # Not even when something asks for it: the page answers that a trial runs.
        phone.page.evaluate(
            "navigator.serviceWorker.ready"
            ".then((r) => r.waiting.postMessage('use-update'))"
        )
        phone.page.wait_for_timeout(1500)
        assert phone.page.evaluate(WAITING)
        assert phone.page.locator("form[data-state=running]").count() == 1

        phone.page.locator("[data-pad]").tap()
        phone.page.wait_for_selector(".value")
        phone.page.locator("[data-update] button").wait_for(state="visible")
        phone.follow(phone.page.locator("[data-update] button"))
        soon(lambda: not phone.page.evaluate(WAITING))
    (trial,) = rows(phone, Trial)
    assert trial.raw_ms > 4000
    forgive(phone)


def test_update_with_something_typed_does_not_lose_it(
    phone: Phone, settings: Settings, clock: Clock, tmp_path: Path
) -> None:
    phone.goto("/patients/new")
    worker_ready(phone.page)
    with next_version(phone, settings, clock, tmp_path / "b"):
        soon(lambda: bool(phone.page.evaluate(LOOK)))
        button = phone.page.locator("[data-update] button")
        button.wait_for(state="visible", timeout=15_000)
        phone.page.fill("#label", "Brown 3")
        button.tap()
        soon(lambda: len(caches_of(phone.page)) == 1)
        phone.page.wait_for_timeout(500)

        assert phone.page.input_value("#label") == "Brown 3"
        expect(phone.page.locator("[data-update]")).to_be_hidden()
    forgive(phone)
