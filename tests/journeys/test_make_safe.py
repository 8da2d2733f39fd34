"""A stop by touch: the panel, what is noted, and the session that ended or locked."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect
from sqlmodel import select
from starlette.testclient import TestClient

from app.storage import safety
from app.storage.database import read_session
from app.storage.trials import Trial
from app.web.deps import Site
from tests.conftest import person_by
from tests.journeys.conftest import OpenPhone, Phone
from tests.make import PASSPHRASE
from tests.web.bedside import a_round
from tests.web.test_held import end_sessions

STANDS = "five_times_sit_to_stand"


def noted(site: Site) -> safety.Answers:
    with read_session(site.engine) as session:
        (trial_id,) = session.exec(select(Trial.id))
        me = person_by(session, "therapist")
        return safety.stop_for(session, me, trial_id).answers


@pytest.fixture
def stopped(phone: Phone, therapist: TestClient, patient_id: int) -> Phone:
    """A phone on which a trial was just stopped."""
    phone.goto(a_round(therapist, patient_id, STANDS))
    phone.page.locator("[data-safe]").tap()
    expect(phone.page.locator("#make-safe")).to_be_visible()
    return phone


def wait_until(page: Page, true: Callable[[], bool]) -> None:
    """The browser goes on meanwhile, which a sleep would not let it."""
    for _ in range(100):
        if true():
            return
        page.wait_for_timeout(50)
    pytest.fail("waited five seconds in vain")


def saved(page: Page) -> None:
    expect(page.locator("#safety-saved")).to_contain_text("Saved.")


def test_one_tap_says_what_happened_and_what_to_do(stopped: Phone, site: Site) -> None:
    page = stopped.page
    stopped.axe("panel")
    page.get_by_role("button", name="Fell").tap()
    expect(page.locator(".whats [aria-pressed=true]")).to_have_text("Fell")

    assert noted(site).what == "fell"
    expect(page.locator("#make-safe")).to_contain_text("Do not move them yet")
    stopped.axe("fell")
    stopped.fits()


def test_each_choice_is_saved_as_it_is_made(stopped: Phone, site: Site) -> None:
    page = stopped.page
    page.get_by_role("button", name="Lowered").tap()
    page.get_by_label("Dizzy").tap()
    saved(page)
    page.get_by_label("Newly confused").tap()
    page.locator("[name=head_strike][value=no]").tap()
    page.get_by_label("Heart rate").fill("96")
    page.get_by_label("Note").fill("Pale at first.")
    page.get_by_label("Note").blur()

    wait_until(page, lambda: noted(site).note == "Pale at first.")
    kept = noted(site)
    assert kept.symptoms == {"dizzy", "confused"}
    assert (kept.what, kept.head_strike, kept.heart_rate) == ("lowered", "no", 96)


def test_wrong_number_is_marked_while_typing_goes_on(
    stopped: Phone, site: Site
) -> None:
    page = stopped.page
    page.get_by_role("button", name="Fell").tap()
    expect(page.locator(".whats [aria-pressed=true]")).to_have_text("Fell")
    page.get_by_label("Heart rate").fill("500")
    page.get_by_label("Note").press_sequentially("Half a sentence", delay=20)
    expect(page.locator("#heart_rate-error")).to_contain_text("20 to 300")

    expect(page.get_by_label("Note")).to_be_focused()
    expect(page.get_by_label("Note")).to_have_value("Half a sentence")
    stopped.axe("marked")
    page.get_by_label("Heart rate").fill("50")
    page.get_by_label("Heart rate").blur()
    expect(page.locator("#heart_rate-error")).to_be_empty()
    wait_until(page, lambda: noted(site).heart_rate == 50)
    assert noted(site).note == "Half a sentence"


def test_changing_what_happened_keeps_what_was_being_typed(
    stopped: Phone, site: Site
) -> None:
    page = stopped.page
    page.get_by_role("button", name="Seated").tap()
    expect(page.locator(".whats [aria-pressed=true]")).to_have_text("Seated")
    page.get_by_label("Note").press_sequentially("Slid down")
    page.get_by_role("button", name="Lowered").tap()
    expect(page.locator(".whats [aria-pressed=true]")).to_have_text(
        "Lowered to the floor"
    )

    expect(page.get_by_label("Note")).to_have_value("Slid down")
    page.get_by_label("Dizzy").tap()
    saved(page)
    assert (noted(site).what, noted(site).note) == ("lowered", "Slid down")


def test_brief_shows_the_stop_until_it_is_looked_into(
    stopped: Phone, patient_id: int
) -> None:
    stopped.page.get_by_role("button", name="Fell").tap()
    expect(stopped.page.locator(".whats [aria-pressed=true]")).to_have_text("Fell")
    stopped.goto(f"/patients/{patient_id}")
    page = stopped.page
    expect(page.get_by_text("Stopped for safety 2 Mar: fell")).to_be_visible()
    stopped.axe("brief")
    stopped.follow(page.get_by_role("button", name="I have looked into it"))

    expect(page.get_by_text("Stopped for safety 2 Mar: fell")).to_have_count(0)


def test_narrow_screen_holds_the_whole_panel(
    open_phone: OpenPhone, therapist: TestClient, patient_id: int
) -> None:
    phone = open_phone(viewport={"width": 320, "height": 640}, color_scheme="dark")
    phone.goto(a_round(therapist, patient_id, STANDS))
    phone.page.locator("[data-safe]").tap()
    phone.page.get_by_role("button", name="Fell").tap()
    expect(phone.page.locator(".whats [aria-pressed=true]")).to_have_text("Fell")

    phone.fits()
    phone.axe("narrow and dark")


def test_all_of_it_works_without_script(
    open_phone: OpenPhone, therapist: TestClient, patient_id: int, site: Site
) -> None:
    phone = open_phone(java_script_enabled=False)
    page = phone.page
    phone.goto(a_round(therapist, patient_id, STANDS))
    page.get_by_role("button", name="Stop - make safe").click()
    page.get_by_role("button", name="Fell").click()
    page.get_by_label("Dizzy").check()
    page.get_by_label("Heart rate").fill("500")
    page.get_by_role("button", name="Save what is noted").click()

    expect(page.locator("#heart_rate-error")).to_contain_text("20 to 300")
    page.get_by_label("Heart rate").fill("50")
    page.get_by_role("button", name="Save what is noted").click()
    expect(page).to_have_url(phone.live.url + "/rounds/1#make-safe")
    kept = noted(site)
    assert (kept.what, kept.heart_rate) == ("fell", 50)
    assert kept.symptoms == {"dizzy"}
    # The answer that marks a field is a 422, which the console counts as a failed load.
    phone.forgive("422")


def test_ended_session_without_script_loses_nothing(
    open_phone: OpenPhone, therapist: TestClient, patient_id: int, site: Site
) -> None:
    phone = open_phone(java_script_enabled=False)
    page = phone.page
    phone.goto(a_round(therapist, patient_id, STANDS))
    page.get_by_label("Time in seconds").fill("16.2")
    end_sessions(site)
    page.get_by_role("button", name="Save typed time").click()
    expect(page.locator("main")).to_contain_text("kept for you")
    page.get_by_label("Handle").fill("therapist")
    page.locator("main").get_by_label("Passphrase").fill(PASSPHRASE)
    page.locator("main").get_by_role("button", name="Sign in").click()
    expect(page.locator("main h2")).to_contain_text("16.2 s")
    page.get_by_role("button", name="Save it now").click()

    expect(page.locator(".value").first).to_contain_text("16.2")
    with read_session(site.engine) as session:
        assert session.exec(select(Trial.raw_ms)).all() == [16200]


def test_lock_without_script_hides_and_opens(
    open_phone: OpenPhone, patient_id: int
) -> None:
    phone = open_phone(java_script_enabled=False)
    page = phone.page
    phone.goto(f"/patients/{patient_id}")
    page.locator(".menu > summary").click()
    page.get_by_role("button", name="Lock", exact=True).click()
    phone.goto(f"/patients/{patient_id}")
    expect(page.get_by_role("heading", name="Locked")).to_be_visible()
    expect(page.get_by_text("Blue 7")).to_have_count(0)
    page.locator("main").get_by_label("Passphrase").fill(PASSPHRASE)
    page.get_by_role("button", name="Unlock").click()

    expect(page).to_have_url(f"{phone.live.url}/patients/{patient_id}")
    expect(page.get_by_text("Blue 7").first).to_be_visible()
    # A locked page answers 423, which the console counts as a failed load.
    phone.forgive("423")
