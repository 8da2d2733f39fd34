"""The day pack in a real browser: read behind its PIN alone, and gone when it must."""

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime

import pytest
from playwright.sync_api import Page, expect

from app.settings import Settings
from app.storage import own_list
from app.storage.database import write_session
from app.storage.episodes import open_episode
from app.storage.patients import Patient
from app.storage.precautions import add_precaution
from tests.conftest import person_by
from tests.journeys.conftest import Phone
from tests.journeys.deeds import end_sessions, says
from tests.journeys.sheet import no_network, worker_ready
from tests.journeys.test_lock import rest
from tests.journeys.test_pin import PIN, set_pin

LABEL, ORDER = "Blue 7", "toe-touch"
#: The sheet itself names every order; what was noted with this one it does not.
NOTE = "brace locked until the review"
WRONG = "268495"
PERSON = "[data-pack-open]"
#: All that this site left in the browser: bytes as text, keys as what they are.
EVERYTHING = """async () => {
  const told = (value) => {
    if (value instanceof CryptoKey) return `key, extractable: ${value.extractable}`;
    if (value instanceof ArrayBuffer || ArrayBuffer.isView(value)) {
      return new TextDecoder("latin1").decode(value);
    }
    if (value && typeof value === "object") {
      return Object.fromEntries(Object.entries(value).map(([k, v]) => [k, told(v)]));
    }
    return value;
  };
  const all = { local: { ...localStorage }, session: { ...sessionStorage }, cache: [] };
  const answer = (ask) => new Promise((done) => {
    ask.onsuccess = () => done(ask.result);
  });
  for (const { name } of await indexedDB.databases()) {
    const db = await answer(indexedDB.open(name));
    for (const table of db.objectStoreNames) {
      const rows = db.transaction(table).objectStore(table);
      const [keys, values] = [rows.getAllKeys(), rows.getAll()];
      await answer(values);
      const found = values.result.map(told);
      all[`${name}/${table}`] = keys.result.map((key, n) => [key, found[n]]);
    }
    db.close();
  }
  for (const name of await caches.keys()) {
    const cache = await caches.open(name);
    for (const asked of await cache.keys()) {
      all.cache.push(asked.url, await (await cache.match(asked)).text());
    }
  }
  return JSON.stringify(all);
}"""
SET_CLOCK_OF_PACK = """(changed) => new Promise((done) => {
  const ask = indexedDB.open("tapeline.pack");
  ask.onsuccess = () => {
    const deed = ask.result.transaction("pack", "readwrite");
    const rows = deed.objectStore("pack");
    const seal = rows.get("seal");
    seal.onsuccess = () => rows.put({ ...seal.result, ...changed }, "seal");
    deed.oncomplete = () => { ask.result.close(); done(null); };
  };
})"""


HIDE = """(hidden) => {
  Object.defineProperty(document, "hidden", { value: hidden, configurable: true });
  document.dispatchEvent(new Event("visibilitychange"));
}"""
LOCK = """() => fetch("/lock", { method: "POST", headers: { "HX-Request": "true" } })"""
TRIES = ("4 tries are", "3 tries are", "2 tries are", "1 try is", "forgotten")


@pytest.fixture
def settings(settings: Settings) -> Settings:
    return settings.model_copy(update={"day_pack": "on"})


@pytest.fixture
def ready(today: datetime, phone: Phone, patient_id: int) -> Phone:
    """A PIN on this phone, a patient with an order, ticked for today."""
    with write_session(phone.live.app.state.site.engine) as session:
        me = person_by(session, "therapist")
        episode = open_episode(session, session.get_one(Patient, patient_id))
        add_precaution(session, me, episode, tag="ttwb_le", note=NOTE, set_by="ward",
                       set_on=today.date(), now=today)  # fmt: skip
        own_list.tick(session, me, patient_id, today.date(), on=True)
    set_pin(phone)
    worker_ready(phone.page)
    return phone


def take(phone: Phone) -> None:
    phone.goto("/pack")
    phone.page.locator("#pin").fill(PIN)
    phone.page.get_by_role("button", name="Take today's people along").tap()
    phone.page.locator("[data-pack-held]").wait_for()


def held(page: Page) -> str:
    found: str = page.evaluate(EVERYTHING)
    return found


def unreadable(stored: str) -> None:
    """Nothing that the pack says stands anywhere; the sheet's own words apart."""
    assert LABEL not in stored
    assert NOTE not in stored
    assert ORDER not in json.dumps({**json.loads(stored), "cache": []})


def nothing_of_it(page: Page) -> None:
    """No database of it, no key; waited for, since a page may still be deleting."""
    names = "async () => (await indexedDB.databases()).map(({ name }) => name)"
    for _ in range(50):
        if "tapeline.pack" not in page.evaluate(names):
            break
        page.wait_for_timeout(100)
    assert "tapeline.pack" not in page.evaluate(names)
    all_of_it = held(page)
    assert "key, extractable" not in all_of_it
    unreadable(all_of_it)


@contextmanager
def with_network(_phone: Phone) -> Iterator[None]:
    yield


def opened(phone: Phone) -> None:
    unlock(phone, PIN)
    phone.page.get_by_role("button", name=LABEL).wait_for()


def unlock(phone: Phone, pin: str) -> None:
    phone.page.locator("#pack-pin").fill(pin)
    phone.page.get_by_role("button", name="Today's people").tap()


def test_read_without_network_and_wiped_after_five_wrong_pins(ready: Phone) -> None:
    phone, page = ready, ready.page
    phone.goto("/pack")
    expect(page.locator("[data-pack-when]")).to_have_text("Nothing is on this phone.")
    phone.axe("before a pack")
    take(phone)
    expect(page.locator("[data-pack-when]")).to_contain_text("good until")
    phone.axe("pack")
    phone.fits()
    with no_network(phone):
        phone.goto("/caseload")
        expect(page.locator("[data-no-network]")).to_be_visible()
        stored = held(page)
        assert "key, extractable: false" in stored
        assert {"key", "seal", "body"} == {
            row[0] for row in json.loads(stored)["tapeline.pack/pack"]
        }
        unreadable(stored)
        assert LABEL not in page.content()
        unlock(phone, PIN)
        page.get_by_role("button", name=LABEL).tap()
        expect(page.locator(PERSON)).to_contain_text("Order: ")
        expect(page.locator(PERSON)).to_contain_text(ORDER)
        expect(page.locator(PERSON)).to_contain_text(NOTE)
        phone.axe("one person of a pack")
        phone.fits()
        unreadable(held(page))
        assert LABEL not in page.url
        page.evaluate("dispatchEvent(new PageTransitionEvent('pagehide'))")
        assert LABEL not in page.content()
        for left in ("4 tries are", "3 tries are", "2 tries are", "1 try is", "Five"):
            unlock(phone, WRONG)
            expect(page.locator("[data-pack-wrong]")).to_contain_text(left)
        expect(page.locator("#pack-pin")).to_be_hidden()
        nothing_of_it(page)


def test_idle_hidden_and_the_night_end_it_and_a_clock_set_back_revives_nothing(
    ready: Phone,
) -> None:
    phone, page = ready, ready.page
    take(phone)
    page.clock.install()
    phone.goto("/bedside")
    opened(phone)
    page.clock.fast_forward("05:30")
    expect(page.locator("#pack-pin")).to_be_visible()
    assert LABEL not in page.content()
    opened(phone)
    page.evaluate(HIDE, True)
    page.clock.fast_forward("00:50")
    assert LABEL in page.content()
    page.clock.fast_forward("00:20")
    expect(page.locator("#pack-pin")).to_be_visible()
    assert LABEL not in page.content()
    page.clock.fast_forward("25:00:00")
    expect(page.locator("[data-pack-wrong]")).to_contain_text("no longer on this phone")
    nothing_of_it(page)
    page.clock.set_system_time(datetime.now())
    page.reload()

    nothing_of_it(page)
    assert page.locator("[data-pack-read]").is_hidden()


def test_phone_that_slept_shows_nobody_when_it_is_looked_at_again(
    ready: Phone,
) -> None:
    """The clock goes on and no timer runs, as where a phone suspends a hidden page."""
    phone, page = ready, ready.page
    take(phone)
    page.clock.install()
    phone.goto("/bedside")
    page.clock.pause_at(page.evaluate("Date.now()") / 1000 + 30)
    opened(phone)
    for seconds, shows in ((50, True), (70, False)):
        page.evaluate(HIDE, True)
        page.clock.set_system_time(page.evaluate("Date.now()") / 1000 + seconds)
        page.evaluate(HIDE, False)

        assert (LABEL in page.content()) is shows
        assert page.locator("#pack-pin").is_visible() is not shows


def test_after_the_night_it_opens_for_nobody_though_nothing_had_wiped_it(
    ready: Phone,
) -> None:
    phone, page = ready, ready.page
    take(phone)
    page.clock.install()
    phone.goto("/bedside")
    expect(page.locator("#pack-pin")).to_be_visible()
    page.clock.pause_at(page.evaluate("Date.now()") / 1000 + 30)
    page.clock.set_system_time(page.evaluate("Date.now()") / 1000 + 25 * 3600)
    assert "tapeline.pack/pack" in held(page)
    unlock(phone, PIN)
    expect(page.locator("[data-pack-wrong]")).to_contain_text("no longer on this phone")

    assert LABEL not in page.content()
    nothing_of_it(page)


def at_the_cover(phone: Phone) -> None:
    rest(phone)
    for left in TRIES:
        phone.page.fill("#cover-pin", WRONG)
        phone.page.get_by_role("button", name="Unlock with the PIN").tap()
        says(phone, "[data-cover] [data-wrong]", left)


def at_the_lock_page(phone: Phone) -> None:
    phone.page.evaluate(LOCK)
    phone.goto("/caseload")
    for left in TRIES:
        phone.page.fill("#pin", WRONG)
        with phone.page.expect_navigation():
            phone.page.get_by_role("button", name="Unlock with the PIN").tap()
        says(phone, "#wrong", left)


def where_it_is_taken(phone: Phone) -> None:
    phone.goto("/pack")
    for left in TRIES:
        phone.page.fill("#pin", WRONG)
        phone.page.get_by_role("button", name="Take today's people along").tap()
        says(phone, "[data-pack-wrong]", left)


@pytest.mark.parametrize("guess", [at_the_cover, at_the_lock_page, where_it_is_taken])
def test_five_wrong_pins_that_the_server_counts_wipe_it_too(
    ready: Phone, guess: Callable[[Phone], None]
) -> None:
    take(ready)
    guess(ready)

    nothing_of_it(ready.page)
    ready.forgive("42")


def by_the_worker(phone: Phone) -> None:
    """The night came while no page was open: the next page load, of any page."""
    phone.page.evaluate(SET_CLOCK_OF_PACK, {"until": 1000})
    phone.goto("/caseload")


def by_a_clock_set_back(phone: Phone) -> None:
    later = phone.page.evaluate("Date.now() + 3_600_000")
    phone.page.evaluate(SET_CLOCK_OF_PACK, {"seen": later})
    phone.goto("/caseload")


def by_ended_session(phone: Phone) -> None:
    end_sessions(phone)
    phone.goto("/caseload")
    assert "/sign-in" in phone.page.url


def by_hand(phone: Phone) -> None:
    phone.page.get_by_role("button", name="Wipe it").tap()


def test_every_way_in_which_it_ends(ready: Phone) -> None:
    for wipe in (by_hand, by_the_worker, by_a_clock_set_back, by_ended_session):
        take(ready)
        assert "tapeline.pack/pack" in held(ready.page)
        wipe(ready)
        nothing_of_it(ready.page)


def test_sign_out_wipes_it_without_network_too(ready: Phone) -> None:
    for cable in (no_network, with_network):
        take(ready)
        ready.goto("/caseload")
        ready.page.locator(".menu summary").tap()
        with cable(ready):
            ready.page.get_by_role("button", name="Sign out").first.tap()
            ready.page.wait_for_timeout(500)
            ready.goto("/bedside")
            nothing_of_it(ready.page)
