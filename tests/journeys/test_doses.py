"""The picture of what was done: sound in every look, its latest session in sight."""

from datetime import timedelta

import pytest
from playwright.sync_api import Page, expect
from sqlmodel import select

from app.storage.database import write_session
from app.storage.episodes import Episode
from app.web.deps import Site
from tests.conftest import person_by
from tests.journeys.conftest import OpenPhone
from tests.journeys.test_pages_are_accessible import LOOKS, sound
from tests.make import make_visit
from tests.sets import make_set


@pytest.fixture
def ten_sessions(site: Site) -> None:
    with write_session(site.engine) as session:
        me = person_by(session, "therapist")
        episode = session.exec(select(Episode)).one()
        for day in range(10, 0, -1):
            at = site.clock() - timedelta(days=day)
            visit = make_visit(session, me, episode, now=at)
            make_set(session, me, visit, "R01", at=at, grade="21", errors=day)
        make_set(session, me, visit, "R01", at=at, grade="20", outcome="stopped")


@pytest.mark.usefixtures("ten_sessions")
@pytest.mark.parametrize("look", list(LOOKS))
def test_doses_are_sound_in_every_look(
    open_phone: OpenPhone, patient_id: int, look: str
) -> None:
    phone = open_phone("therapist", **LOOKS[look])
    phone.goto(f"/patients/{patient_id}/doses")
    page = phone.page
    page.evaluate(
        "document.querySelectorAll('main details').forEach(d => { d.open = true; })"
    )
    sound(phone, f"{look} doses")
    expect(page.get_by_text("stopped", exact=True)).to_be_in_viewport(ratio=0.9)
    expect(page.locator(".dose.axis")).to_be_in_viewport()
    assert cut_words(page) == []
    page.evaluate("document.documentElement.style.fontSize = '200%'")
    phone.fits()


def cut_words(page: Page) -> list[str]:
    """Words of the picture that are partly behind the axis or past the box's edge."""
    cut: list[str] = page.evaluate(
        """() => {
          const box = document.querySelector(".dose-box").getBoundingClientRect();
          const axis = document.querySelector(".dose.axis").getBoundingClientRect();
          return [...document.querySelectorAll(".dose:not(.axis) text")].filter((t) => {
            const { left, right } = t.getBoundingClientRect();
            const crosses = (x) => left < x - 1 && right > x + 1;
            return crosses(axis.right) || crosses(box.right);
          }).map((t) => t.textContent);
        }"""
    )
    return cut


@pytest.mark.usefixtures("ten_sessions")
def test_older_sessions_are_hinted_at_only_where_they_do_not_fit(
    open_phone: OpenPhone, patient_id: int
) -> None:
    phone = open_phone("therapist")
    phone.goto(f"/patients/{patient_id}/doses")
    expect(phone.page.locator("[data-older]")).to_be_visible()
    phone.page.locator(".dose-box").evaluate("box => { box.scrollLeft -= 150; }")
    phone.page.wait_for_timeout(300)
    axis = phone.page.locator(".dose.axis").bounding_box()
    begins = phone.page.locator(".dose-stops .begins").evaluate_all(
        "all => all.map((one) => one.getBoundingClientRect().left)"
    )
    assert axis
    assert min(abs(left - axis["x"] - axis["width"]) for left in begins) < 2
    phone.page.set_viewport_size({"width": 1600, "height": 800})
    expect(phone.page.locator("[data-older]")).to_be_hidden()
