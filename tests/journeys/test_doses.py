"""The picture of what was done: sound in every look, its latest session in sight."""

from datetime import timedelta

import pytest
from playwright.sync_api import expect
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
    page.evaluate("document.documentElement.style.fontSize = '200%'")
    phone.fits()
