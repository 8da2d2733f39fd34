"""Stances in order, a cuff series with its clock, a battery from its parts, a walk."""

from dataclasses import replace
from decimal import Decimal

import pytest

from app.catalogue.load import Catalogue, catalogue
from tests.journeys.conftest import OpenPhone, Phone
from tests.journeys.deeds import (
    STANDS,
    all_sent,
    forgive,
    no_network,
    on_disk,
    open_round,
    says,
    time_it,
    trials,
)

STANCES, CUFF, WALK = "four_stage_balance", "orthostatic_vitals", "gait_speed"
BATTERY = "short_physical_performance_battery"
HOLD_MS = 1000


def with_short_holds(shelf: Catalogue) -> Catalogue:
    """The shipped stances, each held for one second instead of ten."""
    whole = shelf.measures[STANCES]
    stages = tuple(replace(s, hold=Decimal(HOLD_MS) / 1000) for s in whole.stages)
    quick = replace(whole, stages=stages)
    return replace(shelf, measures={**shelf.measures, STANCES: quick})


@pytest.fixture
def stances(open_phone: OpenPhone, patient_id: int) -> Phone:
    phone = open_phone()
    phone.live.app.state.site.catalogue = with_short_holds(catalogue())
    open_round(phone, patient_id, STANCES)
    return phone


def shown(phone: Phone) -> str:
    phone.page.locator(".value").wait_for()
    return " ".join(phone.page.locator(".value").inner_text().split())


def hold_on(phone: Phone) -> None:
    """One tap starts it; it ends by itself."""
    pad = phone.page.locator("form[data-state=idle]:not([data-busy]) [data-pad]")
    pad.tap()
    phone.page.wait_for_timeout(HOLD_MS)


def test_each_stance_ends_by_itself_and_opens_the_next(stances: Phone) -> None:
    names = ("Side-by-side", "Semi-tandem", "Tandem", "One-leg")
    for place, name in enumerate(names):
        says(stances, "[data-stage-label]", name)
        if place == 1:
            stances.axe("second stance")
            stances.fits()
        hold_on(stances)

    assert shown(stances) == "4 stages"
    assert [t.raw_ms for t in trials(stances)] == [HOLD_MS] * 4
    stances.axe("four stages")
    stances.fits()


def test_without_network_the_next_stance_shows_and_a_missed_one_ends_it(
    stances: Phone,
) -> None:
    with no_network(stances):
        hold_on(stances)
        says(stances, "[data-stage-label]", "Semi-tandem")
        says(stances, "[data-stage-show]", "big toe")
        hold_on(stances)
        says(stances, "[data-stage-label]", "Tandem stance")
        stances.page.locator("form[data-state=idle]:not([data-busy])").wait_for()
        time_it(stances, 400)
        says(stances, "[data-stages-over]", "the test ends here")
        stances.page.locator("form.timer").wait_for(state="hidden")
        assert len(on_disk(stances)) == 3
    all_sent(stances)

    assert shown(stances) == "2 stages"
    held = [t.raw_ms or 0 for t in trials(stances)]
    assert held[:2] == [HOLD_MS, HOLD_MS]
    assert held[2] < HOLD_MS
    forgive(stances)


def read_cuff(phone: Phone, when: str, upper: str, lower: str) -> None:
    phone.page.locator("form.cuff:not([data-busy])").wait_for()
    phone.page.locator(f"[name=input-when][value={when}]").check()
    phone.page.fill("#count", upper)
    phone.page.fill("#input-diastolic", lower)
    phone.page.get_by_role("button", name="Save this reading").tap()


def test_cuff_series_with_the_standing_clock(phone: Phone, patient_id: int) -> None:
    phone.page.clock.install()
    open_round(phone, patient_id, CUFF)
    read_cuff(phone, "lying", "142", "80")
    says(phone, "form.cuff h1", "reading 2 of 3")
    phone.page.locator("[data-stood-up]").tap()
    says(phone, "[data-stood-says]", "next word comes at 1 minute")
    phone.axe("standing clock")
    phone.fits()
    phone.page.clock.fast_forward(50_000)
    assert "take the reading" not in phone.page.inner_text("[data-stood-says]")

    phone.page.reload()
    phone.page.clock.fast_forward(12_000)
    says(phone, "[data-stood-says]", "1 minute standing: take the reading")
    read_cuff(phone, "standing_1", "118", "74")
    says(phone, "form.cuff h1", "reading 3 of 3")
    phone.page.clock.fast_forward(120_000)
    says(phone, "[data-stood-says]", "3 minutes standing: take the reading")
    read_cuff(phone, "standing_3", "121", "75")

    assert shown(phone) == "24 mmHg fall"
    phone.axe("fall")
    phone.fits()


def test_cuff_readings_without_network_are_sent_in_order(
    phone: Phone, patient_id: int
) -> None:
    open_round(phone, patient_id, CUFF)
    with no_network(phone):
        read_cuff(phone, "lying", "142", "80")
        says(phone, "[data-kept]", "142/80 mmHg, lying")
        read_cuff(phone, "standing_1", "118", "74")
        says(phone, "[data-kept]", "118/74 mmHg, standing 1 min")
        read_cuff(phone, "standing_3", "121", "75")
        says(phone, "[data-kept]", "121/75 mmHg, standing 3 min")
    all_sent(phone)

    assert shown(phone) == "24 mmHg fall"
    whens = [t.inputs["when"] for t in trials(phone)]
    assert whens == ["lying", "standing_1", "standing_3"]
    forgive(phone)


def type_times(phone: Phone, *seconds: str) -> None:
    for each in seconds:
        phone.page.locator("form[data-state=idle]:not([data-busy])").wait_for()
        summary = phone.page.locator("[data-typed]:not([open]) > summary")
        summary.evaluate("e => e.parentElement.open = true")
        phone.page.fill("#typed", each)
        phone.page.get_by_role("button", name="Save typed time").click()


def go_to_part(phone: Phone, name: str, course: str = "") -> None:
    phone.follow(phone.page.get_by_role("link", name=name))
    says(phone, "main p.card", "A part of: Short physical performance battery")
    if course:
        phone.page.locator(f"[name=fact-course][value='{course}']").check()
    phone.follow(phone.page.locator("button[form=ready]"))


def back(phone: Phone) -> None:
    phone.follow(phone.page.get_by_role("link", name="Back to: Short"))


def test_battery_is_made_from_its_parts(phone: Phone, patient_id: int) -> None:
    open_round(phone, patient_id, BATTERY)
    phone.axe("no part yet")
    phone.fits()
    go_to_part(phone, "Balance part")
    type_times(phone, "10", "10", "6.5")
    back(phone)
    go_to_part(phone, "Walk part", "10ft")
    type_times(phone, "4.1", "4.0")
    back(phone)
    says(phone, ".due", "no published points for timed course: 10 ft")
    go_to_part(phone, "Walk part", "4m")
    type_times(phone, "5.1", "5.3")
    back(phone)
    go_to_part(phone, "Chair part")
    type_times(phone, "14.2")
    back(phone)

    assert shown(phone) == "8 points"
    phone.axe("total")
    phone.fits()


def test_walk_is_not_begun_without_its_course(phone: Phone, patient_id: int) -> None:
    phone.goto(f"/patients/{patient_id}/measures/{WALK}/ready")
    phone.follow(phone.page.locator("button[form=ready]"))
    says(phone, "#fact-course-error", "say which")
    phone.axe("course asked")
    phone.page.locator("[name=fact-course][value='10ft']").check()
    phone.follow(phone.page.locator("button[form=ready]"))
    for _ in range(2):
        phone.page.locator("form[data-state=idle]:not([data-busy])").wait_for()
        time_it(phone, 1500)

    assert shown(phone).endswith(" m/s")
    first, second = (t.raw_ms or 0 for t in trials(phone))
    speed = (3048 / first + 3048 / second) / 2
    assert shown(phone) == f"{speed:.2f} m/s"
    phone.axe("speed")
    phone.fits()
    forgive(phone, "422")


@pytest.mark.parametrize("look", ["dark", "320 px, text at 200 %"])
@pytest.mark.parametrize("measure", [STANCES, CUFF, BATTERY, STANDS])
def test_pages_hold_in_the_dark_and_when_narrow(
    open_phone: OpenPhone, patient_id: int, measure: str, look: str
) -> None:
    narrow = {"viewport": {"width": 320, "height": 640}}
    phone = open_phone(**({"color_scheme": "dark"} if look == "dark" else narrow))
    open_round(phone, patient_id, measure)
    if look != "dark":
        phone.page.evaluate("document.documentElement.style.fontSize = '200%'")
    phone.axe(f"{measure} {look}")
    phone.fits()
