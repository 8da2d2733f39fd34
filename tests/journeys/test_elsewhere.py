"""A time that is not on this page: another page, another tab, a page loaded again."""

from playwright.sync_api import Page, expect

from tests.journeys.conftest import Phone
from tests.journeys.deeds import STANDS, open_round, says, time_it, trials
from tests.journeys.test_lock import rest, unlock

RUNNING = "form[data-state=running]"


def bar(page: Page) -> str:
    shown = page.locator("[data-running-bar]")
    return shown.inner_text() if shown.is_visible() else ""


def test_running_stopwatch_is_told_on_every_page(phone: Phone, patient_id: int) -> None:
    open_round(phone, patient_id, STANDS)
    round_url = phone.page.url
    assert bar(phone.page) == ""
    phone.page.locator("[data-pad]").tap()
    phone.page.wait_for_selector(RUNNING)
    assert bar(phone.page) == ""
    for path in (f"/patients/{patient_id}", "/caseload"):
        phone.goto(path)
        says(phone, "[data-running-bar]", "A stopwatch runs: Five times sit to stand")
        phone.axe(path)
    phone.follow(phone.page.locator("[data-running-bar] a"))

    assert phone.page.url == round_url
    phone.page.wait_for_selector(RUNNING)


def test_second_tab_shows_the_same_clock_and_sends_nothing_twice(
    phone: Phone, patient_id: int
) -> None:
    open_round(phone, patient_id, STANDS)
    other = phone.context.new_page()
    other.goto(phone.page.url)
    phone.page.locator("[data-pad]").tap()
    other.wait_for_selector(RUNNING)
    other.wait_for_timeout(3200)
    other.locator("[data-pad]").tap()
    other.locator("[data-doubt]:visible, .value").first.wait_for()
    if other.locator("[data-confirm]").is_visible():  # its page was not in front
        other.locator("[data-confirm]").tap()
    other.locator(".value").wait_for()
    phone.page.wait_for_selector("form[data-state=idle]")

    (trial,) = trials(phone)
    assert trial.raw_ms is not None
    assert trial.raw_ms >= 3000


def test_undo_outlasts_a_reload(phone: Phone, patient_id: int) -> None:
    open_round(phone, patient_id, STANDS)
    time_it(phone, 3200)
    phone.page.locator(".value").wait_for()
    phone.page.reload()
    with phone.page.expect_navigation():
        phone.page.get_by_role("button", name="Undo stop").tap()
    phone.page.wait_for_selector(RUNNING)
    phone.page.locator("[data-pad]").tap()
    phone.page.locator("[data-confirm]").tap()  # the page was loaded again meanwhile
    phone.page.locator(".value").wait_for()

    first, second = trials(phone)
    assert [first.void_reason, second.void_reason] == ["Stopped by mistake", None]
    assert second.clocks["start"] == first.clocks["start"]


def test_undo_is_not_offered_on_another_round(phone: Phone, patient_id: int) -> None:
    open_round(phone, patient_id, STANDS)
    time_it(phone, 3200)
    phone.page.locator(".value").wait_for()
    open_round(phone, patient_id, "timed_up_and_go")

    expect(phone.page.locator("[data-undo-stop]").first).to_be_hidden()


def test_unlikely_time_is_asked_about_and_kept(phone: Phone, patient_id: int) -> None:
    """A stop too soon is a slip, or not: only who stood there knows."""
    open_round(phone, patient_id, STANDS)
    time_it(phone, 900)
    says(phone, "[data-why]", "outside what is usual for this test (3 to 180 s)")
    assert trials(phone) == []
    phone.page.locator("[data-confirm]").tap()
    phone.page.locator(".value").wait_for()

    (trial,) = trials(phone)
    assert trial.raw_ms is not None
    assert trial.raw_ms < 3000
    assert trial.clocks["range_ok"] is True


def test_unlikely_typed_time_is_asked_about(phone: Phone, patient_id: int) -> None:
    open_round(phone, patient_id, STANDS)
    phone.page.get_by_text("Type the time").tap()
    phone.page.fill("#typed", "1.5")
    phone.page.get_by_role("button", name="Save typed time").tap()
    phone.page.get_by_label("I looked again: keep it as it is").check()
    phone.page.get_by_role("button", name="Save typed time").tap()
    phone.page.locator(".value").wait_for()

    assert [trial.raw_ms for trial in trials(phone)] == [1500]
    phone.forgive("422")


def test_passphrase_typed_without_network_is_not_typed_again(
    phone: Phone, patient_id: int
) -> None:
    phone.goto(f"/patients/{patient_id}")
    rest(phone)
    phone.context.set_offline(True)
    unlock(phone)
    says(phone, "[data-cover] [data-wrong]", "what you stop is kept")
    phone.context.set_offline(False)
    phone.page.locator("[data-cover] button", has_text="Unlock").tap()
    phone.page.locator("[data-cover]").wait_for(state="hidden")

    phone.forgive("ERR_INTERNET")
