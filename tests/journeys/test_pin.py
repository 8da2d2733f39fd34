"""A PIN opens this phone's cover; axe on one's account and the people pages."""

from app.storage.database import write_session
from app.storage.links import make_link
from tests.conftest import Clock, person_by
from tests.journeys.conftest import OpenPhone, Phone
from tests.journeys.deeds import says
from tests.journeys.test_lock import rest
from tests.make import NOW, PASSPHRASE

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
    phone.forgive("422")


def test_forgotten_pin_leaves_the_passphrase(
    phone: Phone, patient_id: int, clock: Clock
) -> None:
    set_pin(phone)
    phone.goto(f"/patients/{patient_id}")
    rest(phone)
    for left in ("4 tries are", "3 tries are", "2 tries are", "1 try is", "forgotten"):
        phone.page.fill("#cover-pin", "268495")
        phone.page.get_by_role("button", name="Unlock with the PIN").tap()
        says(phone, "[data-cover] [data-wrong]", left)
    clock.move(seconds=5)
    phone.page.evaluate("document.body.dataset.idleMinutes = '5'")
    phone.page.fill("#cover-passphrase", PASSPHRASE)
    phone.page.get_by_role("button", name="Unlock", exact=True).tap()
    phone.page.locator("[data-cover]").wait_for(state="hidden")
    phone.page.reload()

    assert phone.page.locator("#cover-pin").count() == 0
    phone.forgive("422")


def test_lock_page_without_script_takes_the_pin(
    open_phone: OpenPhone, phone: Phone, patient_id: int
) -> None:
    set_pin(phone)
    plain = open_phone("therapist", java_script_enabled=False)
    plain.context.clear_cookies()
    plain.context.add_cookies(phone.context.cookies())  # type: ignore[arg-type]
    phone.page.close()
    plain.goto(f"/patients/{patient_id}")
    plain.page.locator(".menu summary").tap()
    plain.follow(plain.page.get_by_role("button", name="Lock", exact=True))
    plain.page.fill("#pin", PIN)
    assert plain.page.locator("#pin").get_attribute("inputmode") == "numeric"
    plain.follow(plain.page.get_by_role("button", name="Unlock with the PIN"))

    assert plain.page.locator("h1").inner_text() != "Locked"
    plain.forgive("423")


def test_passphrase_can_be_looked_at_and_is_hidden_when_sent(
    open_phone: OpenPhone,
) -> None:
    phone = open_phone()
    with write_session(phone.live.app.state.site.engine) as session:
        someone = person_by(session, "therapist")
        token = make_link(session, "passphrase", person=someone, now=NOW)
    phone.goto(f"/join/{token}")
    phone.axe("join")
    phone.fits()
    phone.page.fill("#passphrase", "short")
    phone.page.get_by_role("button", name="Show it").tap()
    assert phone.page.locator("#passphrase").get_attribute("type") == "text"
    phone.page.get_by_role("button", name="Hide it").tap()
    assert phone.page.locator("#passphrase").get_attribute("type") == "password"
    phone.page.fill("#passphrase", "nine slow barges pass")
    with phone.page.expect_navigation():
        phone.page.get_by_role("button", name="Use this passphrase").tap()

    assert phone.page.url.endswith("/sign-in")
    phone.axe("sign in")
    phone.fits()


def test_account_and_people_are_accessible(open_phone: OpenPhone) -> None:
    for look in ("light", "dark"):
        phone = open_phone("supervisor", color_scheme=look)
        for path in ("/account", "/people", "/people/new", "/people/1"):
            phone.goto(path)
            phone.axe(f"{look} {path}")
            phone.fits()
        phone.page.fill("#link-passphrase", PASSPHRASE)
        phone.page.get_by_role("button", name="Make a link").tap()
        phone.page.locator("#link").wait_for()
        phone.axe(f"{look} link")
        phone.fits()
