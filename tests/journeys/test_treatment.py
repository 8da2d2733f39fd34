"""From a failed test to the home sheet: shown, chosen, done, graded, handed on."""

import re
from datetime import timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect
from sqlmodel import select

from app.storage.activity_sets import ActivitySet
from app.storage.database import read_session
from tests.conftest import Clock
from tests.journeys.conftest import OpenPhone, Phone
from tests.journeys.deeds import time_it

pytestmark = pytest.mark.usefixtures("today")
STEPPING = "T01"
PLANNED = ("B01", "T01", "D01")


def stand_on_one_leg(phone: Phone, patient_id: int) -> None:
    """Three holds of about a second, of 30 that the test takes at most."""
    phone.goto(f"/patients/{patient_id}/measures/single_leg_stance/ready")
    phone.follow(phone.page.locator("button[form=ready]"))
    for left in (2, 1, 0):
        time_it(phone, 900)
        if left:
            phone.page.locator(f"#work li:nth-of-type({3 - left})").first.wait_for()
    phone.page.locator(".value").wait_for()


def call_ten(page: Page) -> None:
    """Ten hours called, one each two seconds; two of them stepped wrong."""
    page.get_by_text("How it calls").tap()
    pace = page.locator("[data-option=pace]")
    pace.fill("2")
    page.locator("[data-option=calls]").fill("10")
    page.locator("[data-call-start]").tap()
    page.locator("[data-called]").wait_for(state="visible", timeout=40_000)
    for wrong in (2, 6):
        page.locator("[data-called] button").nth(wrong).tap()


def test_a_failed_test_leads_to_treatment_and_a_home_sheet(
    open_phone: OpenPhone, patient_id: int, clock: Clock, tmp_path: Path
) -> None:
    phone = open_phone()
    page = phone.page
    stand_on_one_leg(phone, patient_id)

    named = page.locator("section", has_text="What this asks work for").last
    expect(named).to_contain_text("Cannot stand on one leg")
    phone.follow(named.get_by_role("link", name="Activities for this").first)
    offered = page.locator(".acts > li:visible")
    assert offered.count() >= 3
    phone.axe("activities for a deficit")
    phone.fits()
    for activity in PLANNED:
        phone.follow(page.locator(f"li[id='{activity}'] button[form=plan-it]"))

    phone.goto(f"/patients/{patient_id}/plan")
    assert page.locator(".planned > li").count() == len(PLANNED)
    phone.axe("plan")
    phone.follow(page.locator(f"li[id='{STEPPING}']").get_by_role("link", name="Start"))
    call_ten(page)
    assert page.locator("input[name=correct]").input_value() == "8"
    page.get_by_text("fingertips", exact=True).tap()
    page.get_by_text("Asked: no symptom").tap()
    page.get_by_role("button", name="Save this set").tap()
    expect(page.locator("#set h2")).to_contain_text("Set 2")
    with read_session(phone.live.app.state.site.engine) as session:
        (done,) = session.exec(select(ActivitySet)).all()
    assert (done.calls, done.correct, done.errors) == (10, 8, 2)
    assert done.log["pace_ms"] == 2000

    clock.now += timedelta(days=2)
    later = open_phone()
    later.goto(f"/patients/{patient_id}/plan")
    later.follow(later.page.get_by_role("button", name=re.compile("^Copy")))
    proposed = later.page.locator(f"li[id='{STEPPING}']")
    expect(proposed).to_contain_text("Stay: ring radius 12 in")
    expect(proposed).to_contain_text("2 errors")

    make_home_sheet(later, patient_id)
    pdf = later.page.pdf(path=tmp_path / "sheet.pdf", format="A4")
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf)) == 1


def make_home_sheet(phone: Phone, patient_id: int) -> None:
    page = phone.page
    phone.goto(f"/patients/{patient_id}/home-sheet")
    page.get_by_label("Foot-spacing ladder holds on the line").check()
    page.locator("#times-B01").fill("3")
    page.get_by_label("showed it back to me safely").locator("visible=true").check()
    page.get_by_label("a family member").check()
    page.get_by_label("Take up loose rugs").check()
    phone.follow(page.get_by_role("button", name="Make the sheet"))
    expect(page.locator("article.home-sheet .lay svg")).to_have_count(1)
    expect(page.locator("article.home-sheet")).not_to_contain_text("Blue 7")
