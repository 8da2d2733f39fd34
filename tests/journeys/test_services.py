"""Minutes by service by touch: steppers, the day's units, a tie that is asked."""

import pytest
from playwright.sync_api import expect
from starlette.testclient import TestClient

from app.web.deps import Site
from tests.journeys.conftest import OpenPhone
from tests.web.test_services import name_three
from tests.web.test_visits import begin

LOOKS: dict[str, dict[str, object]] = {
    "phone": {},
    "narrow": {"viewport": {"width": 320, "height": 640}},
}


@pytest.mark.parametrize("look", list(LOOKS))
def test_minutes_are_stepped_and_the_tie_is_settled(
    open_phone: OpenPhone, therapist: TestClient, patient_id: int, site: Site, look: str
) -> None:
    name_three(site)
    phone = open_phone(**LOOKS[look])
    phone.goto(begin(therapist, patient_id))
    card = phone.page.locator("#services")
    card.get_by_text("Enter the minutes").tap()
    for name in ("Standing work", "Self-care"):
        for _ in range(6):  # the first tap says 15
            card.get_by_label(f"More: {name}, timed, min").tap()
    card.get_by_role("button", name="Save the minutes").tap()
    expect(card).to_contain_text("40 timed minutes: 3 units")
    expect(card.locator("fieldset input:checked")).to_have_count(0)
    card.locator("fieldset label", has_text="Self-care").tap()
    card.get_by_role("button", name="Give it").tap()
    expect(card).to_contain_text("Self-care 2, Standing work 1.")
    phone.page.evaluate(
        "document.querySelectorAll('#services details').forEach(d => { d.open = true })"
    )
    phone.axe(look)
    phone.page.evaluate("document.documentElement.style.fontSize = '200%'")
    phone.fits()


def test_list_of_services_is_sound(open_phone: OpenPhone, site: Site) -> None:
    name_three(site)
    phone = open_phone("supervisor", **LOOKS["narrow"])
    phone.goto("/services")
    phone.axe("services")
    phone.page.evaluate("document.documentElement.style.fontSize = '200%'")
    phone.fits()
