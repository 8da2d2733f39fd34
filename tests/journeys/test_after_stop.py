"""After a stop on a real phone: the form gives way to the fall procedure at the tap."""

import pytest
from playwright.sync_api import expect

from app.web.after_stop import STATEMENT
from app.web.deps import Site
from tests.journeys.conftest import Phone
from tests.web.test_sets import kept


@pytest.mark.usefixtures("today")
def test_fall_noted_takes_the_form_away_and_going_on_is_deliberate(
    phone: Phone, patient_id: int, site: Site
) -> None:
    page = phone.page
    phone.goto(f"/patients/{patient_id}/activities/S01")
    page.get_by_role("button", name="Stop - make safe").tap()
    expect(page.locator("#make-safe")).to_be_visible()
    expect(page.locator("#set")).to_be_visible()
    expect(page.locator(".after-fall")).to_be_hidden()

    page.get_by_role("button", name="Fell").tap()
    expect(page.locator(".after-fall")).to_be_visible()
    expect(page.locator("#set")).to_be_hidden()
    expect(page.get_by_role("button", name="Save this set")).to_be_hidden()
    phone.fits()
    phone.axe("after a fall")

    phone.follow(page.get_by_role("link", name="Go on all the same"))
    page.locator("[name=reps]").fill("5")
    page.get_by_role("button", name="Save this set").tap()
    assert page.locator("[name=after_stop]:invalid").count() == 1
    assert len(kept(site)) == 1
    page.get_by_text(STATEMENT).tap()
    page.get_by_role("button", name="Save this set").tap()
    expect(page.locator("[data-saved]")).to_have_count(1)
    assert kept(site)[-1].after_stop
    phone.fits()
