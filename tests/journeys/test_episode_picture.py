"""An episode by days: no words on other words, none cut, its axis in sight."""

import pytest
from playwright.sync_api import expect

from tests.journeys.conftest import OpenPhone
from tests.journeys.test_pages_are_accessible import five_weeks

#: Pairs of words that overlap, and words past the edge of the page.
COVERED = """() => {
  const edge = document.documentElement.clientWidth, found = [];
  for (const lane of document.querySelectorAll(".care-box svg.care")) {
    const words = [...lane.querySelectorAll("text")]
      .map((t) => [t.textContent, t.getBoundingClientRect()])
      .filter(([, box]) => box.width);
    words.forEach(([one, a], place) => {
      if (a.left < 0 || a.right > edge) found.push(`${one} is cut`);
      for (const [other, b] of words.slice(place + 1)) {
        const across = Math.min(a.right, b.right) - Math.max(a.left, b.left);
        const down = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
        if (across > 1.5 && down > 4) found.push(`${one} on ${other}`);
      }
    });
  }
  return found;
}"""


def test_words_stay_clear_and_the_axis_in_sight(
    open_phone: OpenPhone, patient_id: int
) -> None:
    phone = open_phone()
    five_weeks(phone.live.app.state.site, patient_id)
    phone.goto(f"/patients/{patient_id}/episodes/1/picture")
    page = phone.page
    for wide, text in ((390, 100), (390, 200), (320, 100), (320, 200), (1280, 100)):
        page.set_viewport_size({"width": wide, "height": 844})
        page.evaluate(f"document.documentElement.style.fontSize = '{text}%'")
        assert page.locator(".care text:visible").count() > 10
        assert page.evaluate(COVERED) == [], f"{wide} px, {text} %"
        phone.fits()
    page.locator(".care-lane").last.scroll_into_view_if_needed()
    expect(page.locator(".care-head")).to_be_in_viewport()


@pytest.mark.parametrize("landscape", [False, True])
def test_printed_pages_cut_nothing(
    open_phone: OpenPhone, patient_id: int, landscape: bool
) -> None:
    """On the paper's own width the picture fits, and says whose it is."""
    phone = open_phone(is_mobile=False)
    five_weeks(phone.live.app.state.site, patient_id)
    phone.goto(f"/patients/{patient_id}/episodes/1/picture")
    wide, tall = (1047, 718) if landscape else (718, 1047)
    phone.page.set_viewport_size({"width": wide, "height": tall})
    phone.page.emulate_media(media="print")

    assert phone.page.evaluate(COVERED) == []
    phone.fits()
    expect(phone.page.locator(".care-head .paper-only")).to_contain_text("Blue 7")
    assert phone.page.pdf(landscape=landscape)[:5] == b"%PDF-"
