"""A phone is paired from another screen's picture to the brief, and removed there."""

import base64
from collections.abc import Callable

import numpy as np
from playwright.sync_api import Browser, Locator, Page, Request

from tests.journeys.conftest import OpenPhone, Phone
from tests.make import PASSPHRASE
from tests.qr_reading import read_grey

PIN = "739154"
#: What a camera would see of the picture, as grey values.
SEEN = """async (png) => {
  const bytes = Uint8Array.from(atob(png), (c) => c.charCodeAt(0));
  const image = await createImageBitmap(new Blob([bytes]));
  const canvas = new OffscreenCanvas(image.width, image.height);
  const drawn = canvas.getContext("2d");
  drawn.drawImage(image, 0, 0);
  const { data } = drawn.getImageData(0, 0, image.width, image.height);
  const grey = Array.from({ length: data.length / 4 }, (_, i) => data[4 * i + 1]);
  return [image.height, image.width, grey];
}"""


def scanned(page: Page) -> str:
    """What the picture says, read from the screen as it is shown."""
    png = base64.b64encode(page.locator(".qr-box").screenshot()).decode()
    high, wide, grey = page.evaluate(SEEN, png)
    return read_grey(np.array(grey, np.uint8).reshape(high, wide))


def shown_link(desktop: Phone) -> str:
    """Ask for a link on one's account page, and scan it there."""
    desktop.goto("/account")
    desktop.page.fill("#pair-passphrase", PASSPHRASE)
    desktop.page.get_by_role("button", name="Show the picture").click()
    desktop.page.locator("#pair-link").wait_for()
    desktop.axe("the picture")
    desktop.fits()
    squares = desktop.page.locator(".qr").evaluate(
        "e => e.getBoundingClientRect().width / e.viewBox.baseVal.width"
    )
    link = scanned(desktop.page)

    assert squares >= 4
    assert link == desktop.page.locator("#pair-link").input_value()
    return link


def test_from_the_picture_to_the_brief_and_out_again(
    browser: Browser,
    open_phone: OpenPhone,
    patient_id: int,
    record_property: Callable[[str, object], None],
) -> None:
    wide = {"width": 1280, "height": 800}
    desktop = open_phone(
        viewport=wide, is_mobile=False, has_touch=False, color_scheme="dark"
    )
    link = shown_link(desktop)
    token = link.rpartition("/")[2]
    context = browser.new_context(
        viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True
    )
    phone = Phone(context.new_page(), context, desktop.live)
    asked: list[Request] = []
    taps: list[Locator] = []

    def tap(there: Locator) -> None:
        taps.append(there)
        phone.follow(there)

    phone.page.on("request", lambda sent: asked.append(sent))

    phone.page.goto(link)
    phone.axe("pair this phone?")
    phone.fits()
    tap(phone.page.get_by_role("button", name="Pair this phone"))
    phone.axe("a PIN for this phone")
    phone.fits()
    phone.page.keyboard.type(PIN)  # the field has the cursor already
    tap(phone.page.get_by_role("button", name="Use this PIN"))
    tap(phone.page.locator(f"a[href='/patients/{patient_id}']").first)
    record_property("pairing", f"{len(taps)} taps and a PIN from scan to brief")
    first, *later = [r for r in asked if r.resource_type == "document"]

    assert first.url == link
    assert not [r.url for r in asked if token in r.url and r.url != link]
    assert not [r.url for r in asked if token in r.headers.get("referer", "")]
    assert later[-1].url.endswith(f"/patients/{patient_id}")
    assert len(taps) == 3

    desktop.goto("/account")
    listed = desktop.page.locator("#phones li", has_text="with a PIN")
    listed.get_by_role("button").click()
    desktop.page.locator("#phones li", has_text="None").wait_for()
    phone.follow(phone.page.locator(".top a").first)

    assert "/sign-in" in phone.page.url
    context.close()
