"""What the journeys of the outbox and of the lock do with a phone."""

import json
from collections.abc import Iterator
from contextlib import contextmanager

from sqlmodel import col, select

from app.storage import people
from app.storage.database import read_session, write_session
from app.storage.people import SignIn
from app.storage.trials import Trial
from tests.conftest import Clock, person_by
from tests.journeys.conftest import Phone
from tests.make import PASSPHRASE

STANDS = "five_times_sit_to_stand"
REACH = "functional_reach"
#: What a browser says by itself of a network that is away or a refused request.
EXPECTED = (
    "ERR_INTERNET_DISCONNECTED",
    "ERR_CONNECTION",
    "ERR_FAILED",
    "Failed to fetch",
)


def trials(phone: Phone) -> list[Trial]:
    with read_session(phone.live.app.state.site.engine) as session:
        return list(session.exec(select(Trial).order_by(col(Trial.place))))


def open_round(phone: Phone, patient_id: int, measure: str) -> None:
    phone.goto(f"/patients/{patient_id}/measures/{measure}/ready")
    phone.follow(phone.page.locator("button[form=ready]"))


def reach(phone: Phone, inches: str) -> None:
    phone.page.wait_for_selector("form[data-outbox]:not([data-busy]) #distance")
    phone.page.fill("#distance", inches)
    phone.page.get_by_role("button", name="Save this reach").tap()


def time_it(phone: Phone, milliseconds: int) -> None:
    phone.page.locator("[data-pad]").tap()
    phone.page.wait_for_timeout(milliseconds)
    phone.page.locator("[data-pad]").tap()


def says(phone: Phone, css: str, words: str) -> None:
    """The visible element says so, now or soon."""
    phone.page.locator(css, has_text=words).first.wait_for(state="visible")


def all_sent(phone: Phone) -> None:
    """Nothing waits on the disk, and the page says so.

    The line is hidden too on a page that has not looked yet: the disk is asked first.
    """
    for _ in range(200):
        if not on_disk(phone):
            break
        phone.page.wait_for_timeout(100)
    phone.page.locator("[data-waiting]").wait_for(state="hidden", timeout=20_000)


def forgive(phone: Phone, *words: str) -> None:
    """The browser's own remarks on what a test did on purpose."""
    phone.forgive(*EXPECTED, *words)


def on_disk(phone: Phone) -> list[dict[str, object]]:
    """What IndexedDB holds of unsent trials."""
    text: str = phone.page.evaluate(
        """() => new Promise((done) => {
          const ask = indexedDB.open("tapeline.outbox");
          ask.onupgradeneeded = () => ask.transaction.abort();
          ask.onerror = () => done("[]");
          ask.onsuccess = () => {
            const deed = ask.result.transaction("items");
            const all = deed.objectStore("items").getAll();
            deed.oncomplete = () => {
              ask.result.close();
              done(JSON.stringify(all.result));
            };
          };
        })"""
    )
    found: list[dict[str, object]] = json.loads(text)
    return found


@contextmanager
def no_network(phone: Phone) -> Iterator[None]:
    phone.context.set_offline(True)
    yield
    phone.context.set_offline(False)


def end_sessions(phone: Phone) -> None:
    """As if signed out elsewhere, or after twelve hours."""
    with write_session(phone.live.app.state.site.engine) as session:
        for row in session.exec(select(SignIn)):
            session.delete(row)


def sign_in_again(phone: Phone, handle: str = "therapist") -> None:
    dialog = phone.page.locator("dialog[data-sign-in]")
    dialog.wait_for(state="visible")
    dialog.get_by_label("Handle").fill(handle)
    dialog.get_by_label("Passphrase").fill(PASSPHRASE)
    dialog.get_by_role("button", name="Sign in and go on").tap()


def switch_person(phone: Phone, handle: str, clock: Clock) -> None:
    """Another person signs in on the same phone, in the same browser."""
    with write_session(phone.live.app.state.site.engine) as session:
        token = people.start_sign_in(session, person_by(session, handle), clock())
    phone.context.add_cookies(
        [{"name": "tapeline", "value": token, "url": phone.live.url, "httpOnly": True}]
    )
