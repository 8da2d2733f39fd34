"""A PIN opens this phone's cover; axe on one's account and the people pages."""

from tests.journeys.conftest import OpenPhone, Phone
from tests.journeys.deeds import says
from tests.journeys.test_lock import rest
from tests.make import PASSPHRASE

PIN = "739154"


def set_pin(phone: Phone) -> None:
    phone.goto("/account")
    phone.page.fill("#pin", PIN)
    phone.page.fill("#pin-passphrase", PASSPHRASE)
    with phone.page.expect_navigation():
        phone.page.get_by_role("button", name="Set a PIN here").tap()


def test_pin_takes_the_cover_away(phone: Phone, patient_id: int) -> None:
    set_pin(phone)
    phone.goto(f"/patients/{patient_id}")
    rest(phone)
    phone.axe("cover with a PIN")
    phone.page.fill("#cover-pin", "000000")
    phone.page.get_by_role("button", name="Unlock with the PIN").tap()
    says(phone, "[data-cover] [data-wrong]", "4 tries are left")
    phone.page.evaluate("document.body.dataset.idleMinutes = '5'")
    phone.page.fill("#cover-pin", PIN)
    phone.page.get_by_role("button", name="Unlock with the PIN").tap()
    phone.page.locator("[data-cover]").wait_for(state="hidden")
    phone.page.reload()

    assert not phone.page.locator("[data-cover]").is_visible()
    phone.complaints = [c for c in phone.complaints if "422" not in c]


def test_account_and_people_are_accessible(open_phone: OpenPhone) -> None:
    for look in ("light", "dark"):
        phone = open_phone("supervisor", color_scheme=look)
        for path in ("/account", "/people", "/people/new", "/people/1"):
            phone.goto(path)
            phone.axe(f"{look} {path}")
            phone.fits()
        phone.page.get_by_role("button", name="Make a link").tap()
        phone.page.locator("#link").wait_for()
        phone.axe(f"{look} link")
        phone.fits()
