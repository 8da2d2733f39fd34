"""The bedside sheet as a therapist uses it, and what a browser holds of it."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from playwright.sync_api import Page
from sqlmodel import col, select

from app.storage.database import read_session
from tests.journeys.conftest import Phone
from tests.journeys.deeds import forgive

STANDS = "five_times_sit_to_stand"


@contextmanager
def no_network(phone: Phone) -> Iterator[None]:
    """The cable is out, for pages and for the worker alike."""
    phone.live.stop()
    yield
    phone.live.start()
    forgive(phone)


def worker_ready(page: Page) -> None:
    """The worker is there and has this page, however the loading went."""
    page.wait_for_function("() => navigator.serviceWorker.controller")


def rows(phone: Phone, table: Any) -> list[Any]:
    with read_session(phone.live.app.state.site.engine) as session:
        return list(session.exec(select(table).order_by(col(table.id))))


def open_gate(phone: Phone, name: str) -> None:
    phone.page.locator("[data-list] .person", has_text=name).first.tap()
    phone.page.locator("[data-gate-form]:visible").wait_for()


def orders_allow(phone: Phone) -> None:
    for box in phone.page.locator("input[value=allows]").all():
        box.check()


def open_test(phone: Phone, name: str, word: str) -> None:
    """From the list to the stopwatch or the tape, every order known."""
    open_gate(phone, name)
    orders_allow(phone)
    phone.page.fill("input[name=word]", word)
    phone.page.get_by_role("button", name="Open the test").tap()
    phone.page.locator("[data-next-person]").wait_for()


def time_it(phone: Phone, milliseconds: int = 3400) -> None:
    phone.page.locator("[data-pad]").tap()
    phone.page.wait_for_timeout(milliseconds)
    phone.page.locator("[data-pad]").tap()
    phone.page.locator("[data-said-kept]:visible").wait_for()


def reach(phone: Phone, inches: str) -> None:
    phone.page.fill("#distance", inches)
    phone.page.get_by_role("button", name="Save this reach").tap()
    said = phone.page.locator("[data-said-kept]:visible", has_text=inches)
    said.wait_for()


def back_to_list(phone: Phone) -> None:
    phone.page.locator("[data-all]:visible").tap()
    phone.page.locator("[data-list]:visible").wait_for()


def kept_on_phone(page: Page) -> str:
    """Everything a browser of this site holds, as text."""
    found: str = page.evaluate(
        """async () => {
          const all = { ...localStorage, ...sessionStorage };
          for (const { name } of await indexedDB.databases()) {
            const db = await new Promise((done) => {
              const r = indexedDB.open(name); r.onsuccess = () => done(r.result); });
            for (const table of db.objectStoreNames) {
              all[`${name}/${table}`] = await new Promise((done) => {
                const r = db.transaction(table).objectStore(table).getAll();
                r.onsuccess = () => done(r.result); });
            }
            db.close();
          }
          for (const name of await caches.keys()) {
            const cache = await caches.open(name);
            for (const request of await cache.keys()) {
              all[request.url] = await (await cache.match(request)).text();
            }
          }
          return JSON.stringify(all);
        }"""
    )
    return found


def attach_first(phone: Phone, patient_id: int) -> None:
    page = phone.page
    card = page.locator("[data-attach] > section:has(form)").first
    card.locator("select").select_option(str(patient_id))
    card.locator("[data-sure]").check()
    card.get_by_role("button", name="Attach").tap()
    page.locator("[data-attached]").first.wait_for()
