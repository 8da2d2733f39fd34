"""Slips of a hand that holds somebody's belt, and a network that goes in between."""

import json

from tests.journeys.conftest import Phone
from tests.journeys.deeds import (
    REACH,
    STANDS,
    forgive,
    no_network,
    open_round,
    time_it,
    trials,
)
from tests.journeys.sheet import kept_on_phone, open_test, worker_ready
from tests.journeys.sheet import no_network as cable_out

RUNNING = "form[data-state=running]"
TWO_TRIALS = "four_square_step"
SECOND_FINGER = """(css) => {
  const at = document.querySelector(css);
  const how = { bubbles: true, isPrimary: false, pointerId: 7, button: 0 };
  at.dispatchEvent(new PointerEvent("pointerdown", how));
}"""


def test_another_finger_on_the_glass_keeps_nothing_from_stopping(
    phone: Phone, patient_id: int
) -> None:
    open_round(phone, patient_id, STANDS)
    phone.page.locator("[data-pad]").tap()
    phone.page.wait_for_timeout(3200)
    phone.page.evaluate(SECOND_FINGER, "[data-pad]")
    phone.page.locator(".value").wait_for()

    assert len(trials(phone)) == 1


def test_first_steps_show_at_the_touch_without_a_network(
    phone: Phone, patient_id: int
) -> None:
    open_round(phone, patient_id, STANDS)
    phone.page.locator("[data-pad]").tap()
    phone.page.wait_for_selector(RUNNING)
    with no_network(phone):
        phone.page.locator("[data-safe]").tap()
        steps = phone.page.locator("[data-first-steps]")
        steps.wait_for(state="visible", timeout=1000)
        assert "call for emergency help now" in steps.inner_text()
        assert "Do not move them yet" in steps.inner_text()
        phone.axe("first steps")
    phone.page.locator("#make-safe").wait_for()
    assert not phone.page.locator("[data-first-steps]").is_visible()
    forgive(phone)


def test_stop_pressed_while_another_trial_is_saved_is_its_own(
    phone: Phone, patient_id: int
) -> None:
    open_round(phone, patient_id, TWO_TRIALS)
    with no_network(phone):
        phone.page.locator("[data-pad]").tap()
        phone.page.wait_for_timeout(3200)
        phone.page.evaluate(
            "document.querySelector('form[data-stopwatch]').dataset.state = 'sending'"
        )
        phone.page.evaluate(
            """document.querySelector('[data-safe]').dispatchEvent(
            new PointerEvent('pointerdown', {bubbles: true, isPrimary: true}))"""
        )
        phone.page.locator("[data-first-steps]").wait_for(state="visible")
        phone.page.wait_for_timeout(300)
    phone.page.wait_for_timeout(2500)

    assert "stopped" in [t.outcome for t in trials(phone)]
    forgive(phone)


def test_undo_never_reaches_the_trial_before(phone: Phone, patient_id: int) -> None:
    open_round(phone, patient_id, TWO_TRIALS)
    time_it(phone, 3200)
    phone.page.locator("[data-undo-stop]:visible").wait_for()
    phone.page.locator("[data-pad]").tap()
    phone.page.wait_for_selector(RUNNING)
    phone.page.wait_for_timeout(400)
    phone.page.locator("[data-safe]").tap()
    phone.page.locator("#make-safe").wait_for()

    assert not phone.page.locator("[data-undo-stop]:visible").count()
    assert [t.void_reason for t in trials(phone)] == [None, None]


def test_red_button_is_on_top_on_its_side(phone: Phone, patient_id: int) -> None:
    phone.page.set_viewport_size({"width": 844, "height": 390})
    open_round(phone, patient_id, "tug_cognitive")
    phone.page.locator("[data-pad]").tap()
    phone.page.wait_for_selector(RUNNING)
    on_top = phone.page.evaluate(
        """() => { const red = document.querySelector("[data-safe]");
        const { x, y, width, height } = red.getBoundingClientRect();
        const top = document.elementFromPoint(x + width / 2, y + height / 2);
        return red.contains(top); }"""
    )

    assert on_top


def test_empty_reason_comes_back_with_its_form(phone: Phone, patient_id: int) -> None:
    open_round(phone, patient_id, STANDS)
    phone.page.get_by_text("Could not, or not done").tap()
    phone.page.get_by_label("declined").check()
    phone.page.get_by_role("button", name="Record as not done").tap()
    phone.page.locator("#why-error").wait_for()

    assert phone.page.locator("form[data-stopwatch]").count() == 1
    phone.forgive("422")


def test_clock_of_a_lost_page_is_stopped_on_the_sheet(
    phone: Phone, patient_id: int
) -> None:
    phone.goto("/bedside")
    phone.page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    open_round(phone, patient_id, STANDS)
    round_url = phone.page.url
    phone.page.locator("[data-pad]").tap()
    phone.page.wait_for_selector(RUNNING)
    phone.page.wait_for_timeout(1000)
    phone.context.set_offline(True)
    phone.page.reload()
    phone.page.locator("[data-held-run]").wait_for(state="visible")
    phone.page.wait_for_timeout(2500)
    phone.page.locator("[data-held-stop]").tap()
    phone.page.locator("[data-held-said]", has_text="kept on this phone").wait_for()
    at = float(phone.page.locator("[data-held-clock]").inner_text())
    phone.context.set_offline(False)  # the page comes back by itself
    phone.page.locator("[data-confirm]").tap()
    phone.page.locator(".value").wait_for()

    (trial,) = trials(phone)
    assert phone.page.url == round_url
    assert trial.raw_ms is not None
    assert abs(trial.raw_ms / 1000 - at) < 0.3
    forgive(phone)


def test_network_that_is_back_too_early_costs_no_time(
    phone: Phone, patient_id: int
) -> None:
    """A phone says that it is online before a page can come: the sheet stands again."""
    phone.goto("/bedside")
    worker_ready(phone.page)
    open_round(phone, patient_id, STANDS)
    phone.page.locator("[data-pad]").tap()
    phone.page.wait_for_selector(RUNNING)
    with cable_out(phone):
        phone.page.reload()
        phone.page.wait_for_timeout(2500)
        phone.page.locator("[data-held-stop]").tap()
        at = phone.page.locator("[data-held-clock]").inner_text()
        phone.page.reload()
        said = phone.page.locator("[data-held-said]", has_text="kept on this phone")
        said.wait_for()
        phone.page.evaluate("window.dispatchEvent(new Event('online'))")
        phone.page.wait_for_timeout(500)
        assert phone.page.locator("[data-held-clock]").inner_text() == at
        assert not phone.page.locator("[data-held-stop]").is_visible()
    phone.page.locator("[data-confirm]").tap()
    phone.page.locator(".value").wait_for()

    (trial,) = trials(phone)
    assert abs((trial.raw_ms or 0) / 1000 - float(at)) < 0.06
    forgive(phone)


def test_sheet_takes_no_words_for_a_reason(phone: Phone) -> None:
    phone.goto("/bedside")
    open_test(phone, "Five times", "chair")
    phone.page.get_by_text("Could not, or not done").tap()
    phone.page.locator("label", has_text="declined").first.tap()
    phone.page.locator("select[name=why]").select_option("declined")
    phone.page.get_by_role("button", name="Record as not done").tap()
    phone.page.locator("[data-said-kept]:visible").wait_for()

    assert phone.page.locator("input[name=why]").count() == 0
    (kept,) = json.loads(kept_on_phone(phone.page))["tapeline-bedside/waiting"]
    assert ["why", "declined"] in kept["fields"]


def test_next_person_on_the_sheet_is_asked_about_first(phone: Phone) -> None:
    phone.goto("/bedside")
    open_test(phone, "Functional reach", "kettle")
    phone.page.fill("#distance", "9.5")
    phone.page.get_by_role("button", name="Save this reach").tap()
    phone.page.locator("[data-said-kept]:visible").wait_for()
    phone.page.evaluate("location.hash = ''")
    phone.page.evaluate(f"location.hash = '{REACH}'")
    still = phone.page.locator("[data-still] button")
    still.wait_for(state="visible")

    assert still.inner_text() == "Still kettle: go on"
    assert phone.page.locator("#distance:visible").count() == 0
    still.tap()
    phone.page.locator("#distance").wait_for(state="visible")
