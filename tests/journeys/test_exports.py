"""What exports leave out: there by itself, or at a touch where counting takes long."""

import pytest
from playwright.sync_api import expect

from tests.journeys.conftest import OpenPhone

NOTHING = "No student's visit waits"


@pytest.mark.parametrize("path", ["/exports", "/caseload/export"])
@pytest.mark.parametrize("most", [10_000, -1], ids=["small site", "large site"])
def test_what_is_left_out_is_said_on_the_page(
    open_phone: OpenPhone,
    patient_id: int,
    monkeypatch: pytest.MonkeyPatch,
    path: str,
    most: int,
) -> None:
    monkeypatch.setattr("app.web.released.MOST", most)
    phone = open_phone("supervisor")
    phone.goto(path)
    part = phone.page.locator("#left-out")
    if most < 0:
        expect(part).to_contain_text("takes a while")
        phone.axe("not counted yet")
        part.get_by_text("Count what is left out").tap()

    assert patient_id == 1
    expect(part).to_contain_text(NOTHING)
    assert phone.page.url.endswith(path)
    phone.axe("counted")
    phone.fits()
