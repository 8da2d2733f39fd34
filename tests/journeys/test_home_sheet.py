"""A home sheet from the brief to paper: taught back, printed, and it fits its page."""

import re

import pytest

from app.clinical.home_sheet import STRIP
from app.storage.database import write_session
from app.storage.episodes import open_episode
from app.storage.patients import Patient
from tests.conftest import person_by
from tests.journeys.conftest import OpenPhone, Phone
from tests.journeys.deeds import forgive
from tests.journeys.test_pages_are_accessible import LOOKS, sound
from tests.make import make_home_sheet

#: One sixteenth of a point under 16 pt, since browsers round.
LARGE_PRINT_PX = 21.3


def sheet_with(phone: Phone, patient_id: int, *activities: str) -> int:
    with write_session(phone.live.app.state.site.engine) as session:
        owner = person_by(session, "therapist")
        episode = open_episode(session, session.get_one(Patient, patient_id))
        return make_home_sheet(session, owner, episode, *activities).id


def longest(phone: Phone, how_many: int) -> list[str]:
    """Those with the most to read at home, so that nothing else is longer."""
    activities = phone.live.app.state.site.catalogue.activities.values()
    read = {a.id: sum(map(len, a.home.steps)) for a in activities if a.home}
    return sorted(read, key=lambda key: -read[key])[:how_many]


def pages(phone: Phone, paper: str) -> int:
    pdf = phone.page.pdf(format=paper, prefer_css_page_size=False)
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf))


def test_sheet_is_made_on_the_phone_and_printed_on_one_page(
    phone: Phone, patient_id: int
) -> None:
    page = phone.page
    phone.goto(f"/patients/{patient_id}")
    phone.follow(page.get_by_role("link", name="Home sheet"))
    assert not page.locator("#times-U01").is_visible()
    page.get_by_label("Finger-climb on a vertical strip").check()
    page.locator("#times-U01").fill("5")
    page.get_by_label("a family member").check()
    page.get_by_label("Take up loose rugs").check()
    phone.follow(page.get_by_role("button", name="Make the sheet"))
    page.get_by_text("Only after the helper showed it back").wait_for()
    assert page.locator("#times-U01").input_value() == "5"
    page.get_by_label("showed it back to me safely").locator("visible=true").check()
    phone.follow(page.get_by_role("button", name="Make the sheet"))

    forgive(phone, "status of 422")
    assert page.locator("article.home-sheet .lay svg").count() == 1
    assert page.get_by_text(STRIP).is_visible()
    assert [pages(phone, paper) for paper in ("A4", "Letter")] == [1, 1]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_longest_sheets_fit_their_paper(
    phone: Phone, patient_id: int, paper: str
) -> None:
    """Two on one page; the most there may be on both its sides."""
    fits = []
    for how_many in (2, 4):
        sheet = sheet_with(phone, patient_id, *longest(phone, how_many))
        phone.goto(f"/home-sheets/{sheet}")
        fits.append(pages(phone, paper))

    assert fits[0] == 1
    assert fits[1] <= 2


def test_paper_is_large_print_in_black_and_names_nobody(
    phone: Phone, patient_id: int
) -> None:
    phone.goto(f"/home-sheets/{sheet_with(phone, patient_id, *longest(phone, 2))}")
    phone.page.emulate_media(media="print", color_scheme="dark")
    phone.page.set_viewport_size({"width": 748, "height": 1003})
    found = phone.page.evaluate(
        """() => {
          const seen = [...document.querySelectorAll("body *")].filter((e) =>
            e.checkVisibility() && [...e.childNodes].some((n) =>
              n.nodeType === 3 && n.textContent.trim()));
          const size = (e) => parseFloat(getComputedStyle(e).fontSize) *
            (e.ownerSVGElement ? e.ownerSVGElement.getScreenCTM().a : 1);
          const read = seen.filter((e) => !e.closest("title, desc, .hush, .skip"));
          return {
            words: document.body.innerText,
            smallest: Math.min(...read.map(size)),
            ink: [...new Set(read.map((e) => getComputedStyle(e).color))],
            paper: getComputedStyle(document.body).backgroundColor,
          };
        }"""
    )

    assert found["smallest"] >= LARGE_PRINT_PX
    assert (found["ink"], found["paper"]) == (["rgb(0, 0, 0)"], "rgb(255, 255, 255)")
    for told in ("Blue 7", "1948", "Therapist", "Menu"):
        assert told not in found["words"]


@pytest.mark.parametrize("look", list(LOOKS))
def test_making_and_showing_are_accessible(
    open_phone: OpenPhone, patient_id: int, look: str
) -> None:
    phone = open_phone(**LOOKS[look])
    phone.goto(f"/patients/{patient_id}/home-sheet")
    for box in phone.page.locator("input[name=activity]").all()[:3]:
        box.check()
    sound(phone, f"{look} making")
    phone.goto(f"/home-sheets/{sheet_with(phone, patient_id, 'M06', 'U01')}")
    sound(phone, f"{look} sheet")
    phone.page.evaluate("document.documentElement.style.fontSize = '200%'")
    phone.fits()
