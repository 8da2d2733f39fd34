"""axe-core on the pages of patients, visits and the desk; nothing pushes sideways."""

import pytest

from tests.journeys.conftest import OpenPhone, Phone
from tests.journeys.deeds import STANDS, open_round

PAGES = (
    "/desk", "/desk/table", "/desk/summary", "/patients/find", "/audit",
    "/caseload/import", "/patients/1/edit", "/patients/1/precautions",
    "/patients/1/episodes", "/patients/1/people", "/patients/1/profile",
    "/patients/1/record", "/patients/1/visits", "/patients/1", "/patients/1/measures",
)  # fmt: skip
LOOKS: dict[str, dict[str, object]] = {
    "phone": {},
    "dark": {"color_scheme": "dark"},
    "320 px": {"viewport": {"width": 320, "height": 640}},
    "desktop": {"viewport": {"width": 1280, "height": 800}, "is_mobile": False},
}


def sound(phone: Phone, where: str) -> None:
    phone.axe(where)
    phone.fits()


@pytest.mark.parametrize("look", list(LOOKS))
def test_pages_of_a_supervisor(
    open_phone: OpenPhone, patient_id: int, look: str
) -> None:
    phone = open_phone("supervisor", **LOOKS[look])
    assert patient_id == 1
    for path in PAGES:
        phone.goto(path)
        sound(phone, f"{look} {path}")


@pytest.mark.parametrize("look", list(LOOKS))
def test_visit_with_everything_open(
    open_phone: OpenPhone, patient_id: int, look: str
) -> None:
    phone = open_phone(**LOOKS[look])
    phone.goto(f"/patients/{patient_id}")
    with phone.page.expect_navigation():
        phone.page.get_by_role("button", name="Start a visit").click()
    phone.page.evaluate(
        "document.querySelectorAll('main details').forEach(d => { d.open = true; })"
    )
    sound(phone, f"{look} visit")
    phone.goto("/cover")
    sound(phone, f"{look} cover")


def test_text_at_200_per_cent_on_the_narrowest_phone(
    open_phone: OpenPhone, patient_id: int
) -> None:
    phone = open_phone(viewport={"width": 320, "height": 640})
    paths = ("/caseload", f"/patients/{patient_id}",
             f"/patients/{patient_id}/measures/{STANDS}/ready")  # fmt: skip
    for path in paths:
        phone.goto(path)
        phone.page.evaluate("document.documentElement.style.fontSize = '200%'")
        phone.fits()
    open_round(phone, patient_id, STANDS)


@pytest.mark.parametrize("look", list(LOOKS))
def test_choosing_with_everything_open(
    open_phone: OpenPhone, patient_id: int, look: str
) -> None:
    phone = open_phone(**LOOKS[look])
    phone.goto(f"/patients/{patient_id}/measures")
    with phone.page.expect_navigation():
        phone.page.get_by_role("button", name="stands with help").click()
    phone.page.evaluate(
        "document.querySelectorAll('main details').forEach(d => { d.open = true; })"
    )
    assert phone.page.get_by_text("needs a walk of 3 m").first.is_visible()
    sound(phone, f"{look} choosing")
