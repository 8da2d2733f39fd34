"""A seat measured on the phone: said in place, drawn, sound in every look."""

import pytest

from app.storage.database import write_session
from app.storage.patients import PatientDetails, edit_patient
from app.web.deps import Site
from tests.conftest import person_by
from tests.journeys.conftest import OpenPhone, Phone
from tests.make import NOW

LOOKS: dict[str, dict[str, object]] = {
    "phone": {},
    "dark": {"color_scheme": "dark"},
    "320 px": {"viewport": {"width": 320, "height": 640}},
    "desktop": {"viewport": {"width": 1280, "height": 800}, "is_mobile": False},
}
OPEN_ALL = "document.querySelectorAll('main details').forEach(d => { d.open = true; })"
TWICE = "document.documentElement.style.fontSize = '200%'"


def measured(phone: Phone, value: str) -> str:
    """Type a toilet seat and save it; what is said of it, without a new page."""
    page = phone.page
    page.get_by_label("Toilet seat", exact=True).check()
    page.fill("#value", value)
    page.evaluate("window.samePage = true")
    page.get_by_role("button", name="Save", exact=True).click()
    page.locator("#latest b", has_text=f"{value} in").wait_for()
    assert page.evaluate("window.samePage") is True
    return page.locator("#latest").inner_text()


@pytest.mark.parametrize("look", list(LOOKS))
def test_measured_in_place_and_sound(
    open_phone: OpenPhone, site: Site, patient_id: int, look: str
) -> None:
    details = PatientDetails("Blue 7", sizes={"lower_leg": ("16", "in")})
    with write_session(site.engine) as session:
        owner = person_by(session, "therapist")
        edit_patient(session, owner, patient_id, details, version=1, now=NOW)
    phone = open_phone(**LOOKS[look])
    phone.goto(f"/patients/{patient_id}/rooms")
    first = measured(phone, "15.5")
    said = measured(phone, "17")

    assert "1.5 in (3.8 cm) below." in first
    assert "2.2 in (5.6 cm) below this person's starting point" in said
    assert phone.page.locator(".elevation").is_visible()
    phone.page.evaluate(OPEN_ALL)
    phone.axe(f"{look} rooms")
    phone.fits()
    phone.page.evaluate(TWICE)
    phone.fits()


def test_wrong_length_keeps_what_was_typed(
    open_phone: OpenPhone, patient_id: int
) -> None:
    phone = open_phone()
    phone.goto(f"/patients/{patient_id}/rooms")
    phone.page.get_by_label("Toilet seat", exact=True).check()
    phone.page.fill("#value", "17,5")
    phone.page.fill("#note", "wobbles")
    phone.page.get_by_role("button", name="Save", exact=True).click()
    phone.page.locator("#value-error").wait_for()

    assert phone.page.input_value("#value") == "17,5"
    assert phone.page.input_value("#note") == "wobbles"
    assert phone.page.get_by_label("Toilet seat", exact=True).is_checked()
    phone.forgive("422")  # the browser's own line about the answer


def test_ramp_is_worked_out_in_place(open_phone: OpenPhone, patient_id: int) -> None:
    phone = open_phone()
    phone.goto(f"/patients/{patient_id}/rooms/ramp")
    phone.page.fill("#rise", "24")
    phone.page.get_by_role("button", name="Work it out").click()
    phone.page.locator("svg.ramp").wait_for()

    assert "288 in (731.5 cm, 24 ft)" in phone.page.locator("#ramp").inner_text()
    phone.axe("ramp")
    phone.fits()
