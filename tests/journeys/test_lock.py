"""The idle lock in a real browser: the page is covered, a running trial goes on.

And a page that comes back from the browser's own cache after the session ended.
"""

from sqlmodel import select

from app.storage.database import read_session
from app.storage.people import SignIn
from tests.conftest import Clock
from tests.journeys.conftest import OpenPhone, Phone
from tests.journeys.deeds import (
    REACH,
    STANDS,
    all_sent,
    end_sessions,
    forgive,
    no_network,
    open_round,
    says,
    sign_in_again,
    switch_person,
    time_it,
    trials,
)
from tests.make import PASSPHRASE

RESTORED = "dispatchEvent(new PageTransitionEvent('pageshow', { persisted: true }))"


def rest(phone: Phone) -> None:
    """Nobody touches it for as long as it takes: made short."""
    phone.page.evaluate("document.body.dataset.idleMinutes = '0.01'")
    phone.page.locator("[data-cover]").wait_for(state="visible", timeout=10_000)


def unlock(phone: Phone, passphrase: str = PASSPHRASE) -> None:
    phone.page.evaluate("document.body.dataset.idleMinutes = '5'")
    phone.page.locator("[data-cover] input[name=passphrase]").fill(passphrase)
    phone.page.get_by_role("button", name="Unlock").tap()


def locked_on_server(phone: Phone) -> bool:
    with read_session(phone.live.app.state.site.engine) as session:
        return any(row.locked_at for row in session.exec(select(SignIn)))


def seen_by_a_person(phone: Phone) -> str:
    """Every word that shows, wherever it is in the page."""
    text: str = phone.page.evaluate(
        """() => { const walk = document.createTreeWalker(document.body, 4);
          const seen = [];
          while (walk.nextNode()) {
            const { parentElement, textContent } = walk.currentNode;
            const { visibility } = getComputedStyle(parentElement);
            if (visibility === "visible" && parentElement.getClientRects().length) {
              seen.push(textContent.trim());
            }
          }
          return seen.filter(Boolean).join(" | "); }"""
    )
    return text


def test_five_minutes_of_rest_cover_the_page(phone: Phone, patient_id: int) -> None:
    phone.page.clock.install()
    phone.goto(f"/patients/{patient_id}")
    label = phone.page.locator(".who").inner_text()
    phone.page.clock.fast_forward("04:50")
    assert not phone.page.locator("[data-cover]").is_visible()
    phone.page.clock.fast_forward("00:16")
    phone.page.locator("[data-cover]").wait_for(state="visible")
    phone.page.wait_for_timeout(500)

    assert label not in seen_by_a_person(phone)
    assert label not in phone.page.title()
    assert "Locked" in phone.page.title()
    assert phone.page.evaluate("document.querySelector('.page').inert")
    assert locked_on_server(phone)
    phone.axe("locked")
    phone.fits()


def test_a_touch_keeps_it_open(phone: Phone, patient_id: int) -> None:
    phone.page.clock.install()
    phone.goto(f"/patients/{patient_id}")
    for _ in range(3):
        phone.page.clock.fast_forward("04:00")
        phone.page.locator(".who").tap()

    assert not phone.page.locator("[data-cover]").is_visible()


def test_wrong_passphrase_stays_locked_right_one_opens(
    phone: Phone, patient_id: int
) -> None:
    phone.goto(f"/patients/{patient_id}")
    title = phone.page.title()
    rest(phone)
    unlock(phone, "wrong")
    says(phone, "[data-cover] [data-wrong]", "still locked")
    assert locked_on_server(phone)
    unlock(phone)
    phone.page.locator("[data-cover]").wait_for(state="hidden")

    assert not locked_on_server(phone)
    assert phone.page.title() == title
    assert phone.page.locator(".who").is_visible()
    phone.follow(phone.page.get_by_role("link", name="Choose a test"))
    forgive(phone, "422")


def test_trial_goes_on_under_the_cover_and_is_stored(
    phone: Phone, patient_id: int
) -> None:
    open_round(phone, patient_id, STANDS)
    label = phone.page.locator(".who").inner_text()
    phone.page.locator("[data-pad]").tap()
    rest(phone)
    phone.page.wait_for_timeout(1500)
    assert float(phone.page.locator("[data-clock]").inner_text()) >= 1.5
    assert phone.page.locator("[data-safe]").is_visible()
    phone.axe("locked while a trial runs")
    phone.page.locator("[data-pad]").tap()
    says(phone, ".stored", "Stored")

    (trial,) = trials(phone)
    assert (trial.raw_ms or 0) >= 1500
    assert label not in seen_by_a_person(phone)
    assert label not in phone.page.locator("#work").inner_html()
    unlock(phone)
    phone.page.wait_for_selector(".value")
    assert len(trials(phone)) == 1
    forgive(phone)


def test_make_safe_works_under_the_cover(phone: Phone, patient_id: int) -> None:
    open_round(phone, patient_id, STANDS)
    phone.page.locator("[data-pad]").tap()
    rest(phone)
    phone.page.locator("[data-safe]").tap()
    says(phone, ".stored", "Stored")

    assert [t.outcome for t in trials(phone)] == ["stopped"]
    assert phone.page.locator(".stored .caution").first.is_visible()


def test_lock_without_network_holds_after_a_reload(
    phone: Phone, patient_id: int
) -> None:
    phone.goto(f"/patients/{patient_id}")
    with no_network(phone):
        rest(phone)
        unlock(phone)
        says(phone, "[data-cover] [data-wrong]", "No answer")
    assert not locked_on_server(phone)
    phone.page.reload()
    phone.page.locator("[data-cover]").wait_for(state="visible")
    unlock(phone)
    phone.page.locator("[data-cover]").wait_for(state="hidden")
    phone.page.reload()

    assert not phone.page.locator("[data-cover]").is_visible()
    forgive(phone)


def test_lock_in_the_menu(phone: Phone, patient_id: int) -> None:
    phone.goto(f"/patients/{patient_id}")
    phone.page.locator(".menu summary").tap()
    phone.page.locator(".menu form[action='/lock'] button").tap()
    phone.page.locator("[data-cover]").wait_for(state="visible")
    phone.page.wait_for_timeout(300)

    assert locked_on_server(phone)


def test_deed_of_a_page_locked_elsewhere_waits_for_the_passphrase(
    phone: Phone, patient_id: int
) -> None:
    open_round(phone, patient_id, REACH)
    phone.page.fill("#distance", "9.5")
    phone.page.get_by_role("button", name="Save this reach").tap()
    phone.page.wait_for_selector("text=trial 2 of 3")
    phone.page.get_by_text("Void this trial").tap()
    phone.page.locator("[name=void_reason]").first.check()
    phone.page.evaluate("fetch('/lock', { method: 'POST' })")
    phone.page.wait_for_timeout(500)
    phone.page.get_by_role("button", name="Void it and repeat").tap()
    phone.page.locator("[data-cover]").wait_for(state="visible")
    unlock(phone)
    phone.page.wait_for_selector("text=trial 1 of 3")

    assert [bool(t.voided_at) for t in trials(phone)] == [True]
    forgive(phone, "423")


def test_ended_session_under_the_cover_asks_for_both(
    phone: Phone, patient_id: int
) -> None:
    phone.goto(f"/patients/{patient_id}")
    rest(phone)
    end_sessions(phone)
    unlock(phone)
    sign_in_again(phone)
    phone.page.locator("[data-cover]").wait_for(state="hidden")

    assert phone.page.locator(".who").is_visible()
    forgive(phone, "401")


def test_page_from_the_cache_is_hidden_once_the_session_ended(
    phone: Phone, patient_id: int
) -> None:
    phone.goto(f"/patients/{patient_id}")
    label = phone.page.locator(".who").inner_text()
    end_sessions(phone)
    phone.page.evaluate(RESTORED)
    phone.page.locator("dialog[data-sign-in]").wait_for(state="visible")
    assert label not in seen_by_a_person(phone)
    sign_in_again(phone)
    phone.page.locator(".who").wait_for(state="visible")

    forgive(phone, "401")


def test_page_from_the_cache_goes_when_they_signed_out_and_no_network(
    phone: Phone, patient_id: int
) -> None:
    phone.goto(f"/patients/{patient_id}")
    label = phone.page.locator(".who").inner_text()
    phone.page.evaluate("localStorage.setItem('tapeline.person', '')")
    phone.context.set_offline(True)
    phone.page.evaluate(RESTORED)
    phone.page.wait_for_timeout(1500)

    assert label not in seen_by_a_person(phone)
    phone.context.set_offline(False)
    forgive(phone)


def test_page_from_the_cache_stays_while_the_session_lives(
    phone: Phone, patient_id: int
) -> None:
    phone.goto(f"/patients/{patient_id}")
    phone.page.evaluate(RESTORED)
    phone.page.wait_for_timeout(700)

    assert phone.page.locator(".who").is_visible()
    assert "unsure" not in (phone.page.get_attribute("body", "class") or "")


def test_undo_of_a_stop_that_still_waits_is_void_when_it_arrives(
    phone: Phone, patient_id: int
) -> None:
    open_round(phone, patient_id, STANDS)
    with no_network(phone):
        time_it(phone, 3200)
        says(phone, "[data-waiting]", "1 waiting to send")
        phone.page.locator("[data-undo-stop]").first.tap()
        phone.page.wait_for_selector("form[data-state=running]")
    all_sent(phone)
    assert phone.page.locator("form[data-state=running]").count() == 1
    phone.page.wait_for_timeout(3000)
    phone.page.locator("[data-pad]").tap()
    phone.page.wait_for_selector(".value, [data-confirm]:visible")
    if phone.page.locator("[data-confirm]").first.is_visible():
        phone.page.locator("[data-confirm]").first.tap()
    phone.page.wait_for_selector(".value")

    assert [t.void_reason for t in trials(phone)] == ["Stopped by mistake", None]
    forgive(phone)


def test_reason_missing_comes_back_in_place(phone: Phone, patient_id: int) -> None:
    """The other endings go the outbox's way too: refused, they stay where they are."""
    open_round(phone, patient_id, STANDS)
    phone.page.get_by_text("Could not, or not done").tap()
    phone.page.get_by_role("button", name="Record as unable").tap()
    says(phone, ".error", "Choose why")

    assert phone.page.locator("form[data-stopwatch]").count() == 1
    assert not phone.page.locator("[data-waiting]").is_visible()
    assert trials(phone) == []
    forgive(phone, "422")


def test_two_people_one_phone_no_cover_left(
    open_phone: OpenPhone, patient_id: int, clock: Clock
) -> None:
    """A lock of one person that never reached the server does not lock the next."""
    phone = open_phone()
    phone.goto(f"/patients/{patient_id}")
    with no_network(phone):
        rest(phone)
    switch_person(phone, "supervisor", clock)
    phone.goto("/caseload")
    phone.page.wait_for_timeout(500)

    assert not phone.page.locator("[data-cover]").is_visible()
    forgive(phone)


def test_undo_of_a_trial_stored_under_the_lock_voids_it(
    phone: Phone, patient_id: int
) -> None:
    """The locked answer names the trial by its number, and of whom it is by nothing."""
    open_round(phone, patient_id, STANDS)
    phone.page.locator("[data-pad]").tap()
    rest(phone)
    phone.page.wait_for_timeout(3200)
    phone.page.locator("[data-pad]").tap()
    phone.page.locator(".stored").wait_for()
    unlock(phone)
    phone.page.locator("[data-undo-stop]:visible").tap()
    phone.page.wait_for_selector("form[data-state=running]")
    phone.page.wait_for_timeout(500)

    assert [t.void_reason for t in trials(phone)] == ["Stopped by mistake"]


def test_red_button_is_in_reach_on_a_lock_between_trials(
    phone: Phone, patient_id: int
) -> None:
    open_round(phone, patient_id, STANDS)
    label = phone.page.locator(".who").inner_text()
    rest(phone)
    phone.axe("locked between trials")
    phone.page.locator("[data-safe]").tap()
    phone.page.locator("[data-first-steps]").wait_for(state="visible")
    assert "call for emergency help now" in seen_by_a_person(phone)
    assert label not in seen_by_a_person(phone)
    phone.page.wait_for_timeout(800)

    assert [t.outcome for t in trials(phone)] == ["stopped"]
