"""A therapist's main journeys in Firefox and in WebKit, at a phone's size."""

import time

from sqlmodel import col, select

from app.storage.database import read_session
from app.storage.trials import Trial
from tests.engines.page import Page
from tests.make import PASSPHRASE

WALK = "timed_up_and_go"
#: From a touch asked for to one done, twice, under load, ms: a wait is never shorter.
SLACK_MS = 1500
PAD = "[data-pad]"


def trials(page: Page) -> list[Trial]:
    with read_session(page.live.app.state.site.engine) as session:
        return list(session.exec(select(Trial).order_by(col(Trial.place))))


def open_round(page: Page, measure: str, patient_id: int = 1) -> None:
    page.goto(f"/patients/{patient_id}/measures/{measure}/ready")
    page.follow("button[form=ready]")


def in_state(page: Page, wanted: str) -> None:
    page.shows(f"form[data-state={wanted}]")


def test_sign_in(stranger: Page) -> None:
    stranger.goto("/sign-in")
    stranger.type("input[name=handle]", "therapist")
    stranger.type("input[name=passphrase]", PASSPHRASE)
    stranger.js("window.left = false")
    stranger.press("Enter")
    stranger.arrived()

    stranger.shows("main", "Blue 7")


def test_stopwatch_by_touch(page: Page) -> None:
    open_round(page, WALK)
    page.tap(PAD)
    began = time.monotonic()
    in_state(page, "running")
    time.sleep(3)
    page.tap(PAD)
    waited = (time.monotonic() - began) * 1000
    page.shows(".value")

    (trial,) = trials(page)
    assert trial.raw_ms is not None
    assert waited - SLACK_MS <= trial.raw_ms <= waited + SLACK_MS
    assert f"{trial.raw_ms / 1000:.1f}" in page.text(".value")
