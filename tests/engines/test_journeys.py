"""A therapist's main journeys in Firefox and in WebKit, at a phone's size."""

import time
from collections.abc import Callable

from sqlmodel import col, select

from app.catalogue.load import catalogue
from app.storage.database import read_session, write_session
from app.storage.people import SignIn
from app.storage.review import VisitText
from app.storage.trials import Trial
from tests.engines.page import SHOWN, Between, Page
from tests.journeys.test_chair_stand import CHAIR, with_short_window
from tests.journeys.test_notes import WORDS, note
from tests.make import PASSPHRASE

__all__ = ["note"]

WALK = "timed_up_and_go"
#: A browser's clocks are read to a few ms, and a reload is bridged by the time of day.
OFF_MS = 50
#: A clock on the page shows tenths of a second, drawn a moment ago.
SHOWN_S = 0.5
PAD = "[data-pad]"
Record = Callable[[str, object], None]


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


def agrees(page: Page, start: Between, stop: Between) -> str:
    """The one stored time lies between the shortest and the longest it can have been.

    Both clocks run on this machine; what lies between asked and done is the browser's.
    """
    (trial,) = trials(page)
    shortest, longest = (stop[0] - start[1]) * 1000, (stop[1] - start[0]) * 1000
    assert trial.raw_ms is not None
    assert shortest - OFF_MS <= trial.raw_ms <= longest + OFF_MS
    assert f"{trial.raw_ms / 1000:.1f}" in page.text(".value")
    return (
        f"{page.engine.name} {page.engine.version}: stored {trial.raw_ms} ms,"
        f" can have been {shortest:.0f} to {longest:.0f} ms"
    )


def test_stopwatch_by_touch(page: Page, record_property: Record) -> None:
    open_round(page, WALK)
    start = page.tap(PAD)
    in_state(page, "running")
    time.sleep(3)
    stop = page.tap(PAD)
    page.shows(".value")

    record_property("touch", agrees(page, start, stop))


def test_stopwatch_by_keyboard(page: Page, record_property: Record) -> None:
    open_round(page, WALK)
    page.js("document.querySelector('[data-pad]').focus()")
    start = page.press("Space")
    in_state(page, "running")
    time.sleep(3)
    stop = page.press("Space")
    page.shows(".value")

    record_property("space bar", agrees(page, start, stop))


def test_clock_goes_on_over_a_reload(page: Page, record_property: Record) -> None:
    open_round(page, WALK)
    start = page.tap(PAD)
    in_state(page, "running")
    time.sleep(2)
    page.reload()
    in_state(page, "running")
    asked = time.monotonic()
    shown = float(page.text("[data-clock]"))
    latest = time.monotonic() - start[0]
    time.sleep(1)
    stop = page.tap(PAD)
    page.until(lambda: confirm(page) or trials(page), "a stored time")
    page.shows(".value")

    assert asked - start[1] - SHOWN_S <= shown <= latest + SHOWN_S
    record_property("over a reload", agrees(page, start, stop))


def confirm(page: Page) -> bool:
    """Where two clocks differ by more than a hand does, the page is told yes."""
    asks = bool(page.js(SHOWN, "[data-confirm]", ""))
    if asks:
        page.tap("[data-confirm]")
    return False


def test_undone_stop_goes_on_from_the_first_start(page: Page) -> None:
    open_round(page, WALK)
    page.tap(PAD)
    time.sleep(3)
    page.tap(PAD)
    page.shows(".value")
    page.tap("[data-undo-stop]")
    in_state(page, "running")
    time.sleep(1)
    page.tap(PAD)
    page.shows(".trials s")

    first, second = trials(page)
    assert [first.void_reason, second.void_reason] == ["Stopped by mistake", None]
    assert first.clocks["start"] == second.clocks["start"]
    assert (second.raw_ms or 0) - (first.raw_ms or 0) >= 1000


def test_trial_outlives_a_server_that_is_gone(page: Page) -> None:
    open_round(page, WALK)
    page.tap(PAD)
    in_state(page, "running")
    time.sleep(3)
    with page.cable_out():
        page.tap(PAD)
        page.shows("[data-kept]", "Kept on this phone")
        assert len(page.on_disk()) == 1
    page.shows(".value", seconds=40)

    assert len(trials(page)) == 1
    assert page.on_disk() == []


def test_sheet_opens_without_the_server_and_is_attached(page: Page) -> None:
    page.goto("/caseload")
    has = "return 'serviceWorker' in navigator"
    assert page.js(has), "no service worker in this engine"
    page.until(lambda: page.js("return !!navigator.serviceWorker.controller"), "it")
    with page.cable_out():
        page.goto("/bedside")
        page.tap("[data-list] .person", "Functional reach")
        page.shows("[data-gate-form]")
        for place in page.js(ORDERS):
            page.tap(place)
        page.type("input[name=word]", "chair")
        page.tap("[data-gate-form] button", "Open the test")
        page.type("#distance", "9.5")
        page.tap("button", "Save this reach")
        page.shows("[data-said-kept]", "9.5")
    page.goto("/bedside/attach")
    page.shows("[data-attach] > section form")
    page.js(CHOOSE)
    page.tap("[data-attach] [data-sure]")
    page.tap("[data-attach] button", "Attach")
    page.shows("[data-attached]")

    (trial,) = trials(page)
    assert trial.raw_value == "9.5"


#: Of each order asked about on the sheet: the tick that it allows the test.
ORDERS = """return [...document.querySelectorAll("input[value=allows]")]
  .filter((e) => e.getClientRects().length)
  .map((e) => `[data-gate-form] input[name="${e.name}"][value=allows]`);"""
CHOOSE = """const list = document.querySelector("[data-attach] select");
list.value = "1";
list.dispatchEvent(new Event("change", { bubbles: true }));"""


def test_chair_stands_are_counted(page: Page) -> None:
    page.live.app.state.site.catalogue = with_short_window(catalogue())
    open_round(page, CHAIR)
    page.tap(PAD)
    in_state(page, "running")
    page.tap(PAD)
    time.sleep(0.2)
    page.tap(PAD)
    in_state(page, "doubt")
    counted = int(page.text("[data-count]") or page.js(COUNTED))
    time.sleep(0.6)  # a finger still tapping presses nothing
    page.tap("button", "No: save")
    page.shows(".value")

    (trial,) = trials(page)
    assert counted == 2
    assert (trial.outcome, trial.count) == ("completed", 2)


COUNTED = "return document.querySelector('[data-count]').textContent"


FIELDS = "return [...document.querySelectorAll('textarea')].map((e) => e.value)"


def test_note_is_worded_and_signed(page: Page, note: str) -> None:
    page.goto(note)
    page.tap("#note-next a", "2 still asked for")
    page.shows("details[open] textarea")
    page.tap("details[open] button", "graded down")
    page.press(*WORDS)
    page.tap("h1")
    page.shows("#note-next", "1 still asked for")
    page.at_rest()
    page.reload()
    assert any(f"graded down {WORDS}" in words for words in page.js(FIELDS))
    page.type("#passphrase, input[name=passphrase]", PASSPHRASE)
    page.js("window.left = false")
    page.press("Enter")
    page.arrived()
    page.shows("article", f"graded down {WORDS}")

    with read_session(page.live.app.state.site.engine) as session:
        (written,) = session.exec(select(VisitText))
    assert written.kind == "signed"


def test_ended_session_asks_over_the_page(page: Page) -> None:
    open_round(page, "functional_reach")
    page.type("#distance", "9.5")
    with write_session(page.live.app.state.site.engine) as session:
        for row in session.exec(select(SignIn)):
            session.delete(row)
    page.tap("button", "Save this reach")
    page.shows("dialog[data-sign-in]")
    time.sleep(1)
    page.picture("sign-in-over-the-page")
    page.type("dialog input[name=passphrase]", PASSPHRASE)
    page.tap("dialog button", "Sign in and go on")
    page.shows("main", "trial 2 of 3")

    assert [t.raw_value for t in trials(page)] == ["9.5"]
    page.forgive("401")


def test_page_left_alone_is_covered(page: Page) -> None:
    page.goto("/patients/1")
    page.js("document.body.dataset.idleMinutes = '0.01'")
    page.shows("[data-cover]")
    page.picture("covered")

    assert page.js(BEHIND) is None
    page.js("document.body.dataset.idleMinutes = '5'")
    page.type("[data-cover] input[name=passphrase]", PASSPHRASE)
    page.tap("[data-cover] button", "Unlock")
    page.hides("[data-cover]")
    page.shows("main", "Start a visit")


#: A link of the page that the focus still reaches, or words of it that still show.
BEHIND = """const link = document.querySelector("main a[href]");
link.focus();
const seen = getComputedStyle(link).visibility === "visible";
return seen || document.activeElement === link ? link.outerHTML : null;"""
