"""A visit by touch: each answer saved at its tap, and none lost without a network."""

import pytest
from playwright.sync_api import Page, expect
from starlette.testclient import TestClient

from app.storage.observations import SymptomCheck
from app.storage.visits import ExitItem
from app.web.deps import Site
from tests.journeys.conftest import Phone
from tests.journeys.test_make_safe import wait_until
from tests.web.test_visits import begin, rows


@pytest.fixture
def visit(phone: Phone, therapist: TestClient, patient_id: int) -> Phone:
    """A phone on the page of a visit that was just begun."""
    phone.goto(begin(therapist, patient_id))
    return phone


def pain(page: Page, value: int) -> None:
    page.locator(f"label:has([name=pain][value='{value}'])").tap()


def test_taps_are_saved_without_a_button(visit: Phone, site: Site) -> None:
    page = visit.page
    pain(page, 3)
    page.locator("#symptoms label", has_text="badly").tap()
    expect(page.locator("#symptoms-saved")).to_contain_text("pain 3 of 10, slept badly")
    page.locator("label:has([name=exit-hand_off][value=family])").tap()
    expect(page.locator("#exit-saved")).to_contain_text("Still open: strip")
    visit.axe("saved")
    visit.fits()
    page.reload()
    expect(page.locator("[name=pain][value='3']")).to_be_checked()

    assert [row.told_role for row in rows(site, ExitItem)] == ["family"]


def test_without_network_nothing_tapped_is_lost(visit: Phone, site: Site) -> None:
    page = visit.page
    pain(page, 3)
    expect(page.locator("#symptoms-saved")).to_contain_text("Saved")
    visit.context.set_offline(True)
    pain(page, 5)
    expect(page.locator("#symptoms-saved")).to_contain_text("Not saved yet")
    page.locator("#symptoms label", has_text="well").tap()
    expect(page.locator("#symptoms-saved")).to_contain_text("Not saved yet")
    expect(page.locator("[name=pain][value='5']")).to_be_checked()
    expect(page.get_by_role("button", name="Save", exact=True)).to_be_visible()
    visit.axe("not saved")
    assert len(rows(site, SymptomCheck)) == 1
    visit.context.set_offline(False)
    expect(page.locator("#symptoms-saved")).to_contain_text("pain 5 of 10, slept well")
    visit.forgive("ERR_INTERNET", "net::ERR", "Failed to fetch")

    assert [(r.pain, r.slept) for r in rows(site, SymptomCheck)] == [
        (3, None),
        (5, "well"),
    ]


def test_whole_list_at_one_tap_leaves_strip_and_hand_off_open(
    visit: Phone, site: Site
) -> None:
    page = visit.page
    page.get_by_role("button", name="I checked all of these").tap()
    expect(page.locator("[name=exit-bell][value=done]")).to_be_checked()
    wait_until(page, lambda: len(rows(site, ExitItem)) == 6)
    expect(page.locator("[name=exit-hand_off]:checked")).to_have_count(0)
    expect(page.locator("[name=exit-strip]:checked")).to_have_count(0)
    said = page.locator("#exit-saved")
    expect(said).to_contain_text("Saved. Still open: strip")
    expect(said).to_contain_text("hand-off given")
    page.get_by_role("button", name="Close this visit").tap()
    expect(page.locator("#close-error")).to_contain_text("hand-off given")
    alert = page.locator("main .body > [role=alert].error")
    expect(alert).to_contain_text("hand-off given")
    visit.forgive("422")


def test_task_keeps_what_was_typed_when_it_is_refused(visit: Phone) -> None:
    page = visit.page
    page.locator("#tasks summary", has_text="Add one").tap()
    page.select_option("#task", "eating")
    page.locator("#share").fill("40")
    page.locator("label:has([name=level][value=moderate])").tap()
    page.get_by_role("button", name="Save this task").tap()
    expect(page.locator("#share-error")).to_contain_text("50 to 74")
    expect(page.locator("#share")).to_have_value("40")
    page.locator("#share").fill("60")
    page.wait_for_timeout(700)  # a second tap sooner is taken for a double tap
    page.get_by_role("button", name="Save this task").tap()
    expect(page.locator("#tasks .offer")).to_contain_text("03 proposed")
    visit.axe("proposed")
    visit.fits()
    visit.forgive("422")

    visit.follow(page.get_by_role("button", name="Take 03"))
    expect(page.locator("#tasks")).to_contain_text("[federal 03]")
