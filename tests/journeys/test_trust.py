"""The page by which a phone comes to trust the site, on a phone."""

from ipaddress import ip_address
from pathlib import Path

from playwright.sync_api import expect

from app.lan.keeper import Found, keeper
from tests.journeys.conftest import Phone
from tests.make import NOW

HERE = Found(("ward.local",), (ip_address("192.0.2.7"),))


def test_every_system_has_its_steps_on_the_smallest_phone(
    phone: Phone, tmp_path: Path
) -> None:
    kept = keeper(tmp_path, HERE, NOW, ports=(8765, 8766))
    kept.look(HERE, NOW)
    phone.live.app.state.site.lan = kept.place
    phone.page.set_viewport_size({"width": 320, "height": 640})
    phone.goto("/trust")

    for summary in phone.page.locator("main summary").all():
        summary.click()
        expect(phone.page.locator("details[open] li").first).to_be_visible()
        phone.fits()
        phone.axe(summary.inner_text())
    row = phone.page.locator(".fingerprint code").first
    expect(row).to_have_text(kept.place.fingerprint_lines[0])
