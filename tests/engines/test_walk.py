"""Through the demo site in each engine: no fault in a script, nothing too wide."""

import re
import shutil
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI

from app.commands.demo import fill_demo
from app.main import create_app
from app.settings import Settings
from tests.engines.conftest import sign_in
from tests.engines.page import Page
from tests.engines.wire import Engine

#: Where each begins; whatever is linked from there is looked at too, one of a kind.
STARTS = {
    "demo-therapist": (
        "/patients/1", "/patients/1/measures", "/patients/1/treat", "/patients/1/rooms",
        "/patients/1/rooms/ramp", "/patients/1/plan", "/patients/1/goals",
        "/patients/1/home-sheet", "/activities/S01", "/activities/tools", "/home",
        "/caseload", "/bedside", "/kit", "/help",
    ),
    "demo-supervisor": ("/desk", "/review", "/people", "/audit"),
    "demo-student": ("/practice", "/practice/progress"),
}  # fmt: skip
#: So many pages of one person, at most.
MOST = 60
#: Answers that no browser shows as a page, and the way out.
NO_PAGES = re.compile(r"/export|/fhir|\.(csv|json|pdf|crt|pem|svg|ics)|/static/|/demo")
SAME = r"(?<=/measures/)\w+|(?<=/help/)\w+|(?<=/practice/)\w+(?=/)|[A-Z]\d\d|\d+|\?.*"
LINKS = """return [...document.querySelectorAll("a[href]:not([download])")]
  .filter((a) => a.origin === location.origin).map((a) => a.pathname + a.search);"""
OPEN_ALL = "for (const d of document.querySelectorAll('main details')) d.open = true;"


def demo_in(folder: Path) -> FastAPI:
    return create_app(Settings(data_dir=folder, database_url="", demo=True))


@pytest.fixture(scope="module")
def built_demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo site as it is started, of this moment; each walk gets a copy."""
    folder = tmp_path_factory.mktemp("demo")
    app = demo_in(folder)
    fill_demo(app.state.site)
    app.state.site.engine.dispose()
    return folder


@pytest.fixture
def app(engine: Engine, built_demo: Path, tmp_path: Path) -> Iterator[FastAPI]:
    assert engine.version  # without an engine nothing is built
    folder = shutil.copytree(built_demo, tmp_path / "site")
    app = demo_in(folder)
    yield app
    app.state.site.engine.dispose()


def kind_of(path: str) -> str:
    """The same for pages that differ in whom or what they are about."""
    return re.sub(SAME, "#", path)


def looked_at(page: Page, path: str) -> list[str]:
    """Go there, see that it fits folded and unfolded, and say where it leads."""
    page.goto(path)
    page.fits(path)
    page.picture(re.sub(r"\W+", "-", path).strip("-") or "front")
    page.js(OPEN_ALL)
    page.fits(f"{path}, all open")
    links: list[str] = page.js(LINKS)
    return links


@pytest.mark.parametrize("handle", list(STARTS))
def test_pages_are_sound(stranger: Page, handle: str) -> None:
    sign_in(stranger, handle, stranger.live.app.state.site.clock())
    ahead, seen = list(STARTS[handle]), set[str]()
    while ahead and len(seen) < MOST:
        path = ahead.pop(0)
        if kind_of(path) in seen or NO_PAGES.search(path):
            continue
        seen.add(kind_of(path))
        ahead += looked_at(stranger, path)
    print(f"\n{stranger.engine.name} {handle}: {len(seen)} kinds of page")

    assert len(seen) >= 10


def test_figure_of_a_practice_trial_moves(stranger: Page) -> None:
    sign_in(stranger, "demo-student", stranger.live.app.state.site.clock())
    stranger.goto("/practice/one_leg_stroke/1")
    stranger.tap("button", "Watch and time it")
    stranger.tap("[data-figure-play]")
    poses = set()
    for _ in range(12):
        time.sleep(0.3)
        poses.add(stranger.js(POSE))
    stranger.picture("figure")

    assert len(poses) >= 5


def test_every_word_of_a_hand_off_is_in_sight(stranger: Page) -> None:
    """A line that warns may not lie below the edge of its field."""
    sign_in(stranger, "demo-therapist", stranger.live.app.state.site.clock())
    stranger.goto(HAND_OFF)
    stranger.shows("textarea.safety")
    stranger.until(lambda: stranger.js(CUT) == [], "whole fields")
    assert stranger.js("return document.querySelectorAll('textarea').length") > 3

    stranger.js("document.querySelector('textarea').value = ''")
    stranger.type("textarea", "Two hands. " * 30)
    assert stranger.js(CUT) == []


#: Of the demo's visits one that has been handed off with lines of safety.
HAND_OFF = "/visits/36/hand-off/nursing"
CUT = """return [...document.querySelectorAll("textarea")]
  .filter((e) => e.clientHeight && e.scrollHeight > e.clientHeight + 1)
  .map((e) => e.value.slice(0, 40));"""
POSE = """return [...document.querySelectorAll(".figure-picture [points]")]
  .map((e) => e.getAttribute("points")).join(" ");"""
