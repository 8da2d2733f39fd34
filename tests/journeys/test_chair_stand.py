"""The 30-second chair stand on a phone: counted, 0, with the arms, no network."""

from dataclasses import replace

import pytest

from app.catalogue.load import Catalogue, catalogue
from app.storage.trials import Trial
from tests.journeys.conftest import OpenPhone, Phone
from tests.journeys.deeds import forgive, no_network, open_round, says, trials
from tests.journeys.sheet import open_test, rows
from tests.journeys.test_stopwatch import in_state, tap_pad

CHAIR = "thirty_second_chair_stand"
WINDOW = 3


def with_short_window(shelf: Catalogue) -> Catalogue:
    """The shipped test, its half minute cut to three seconds."""
    short = replace(shelf.measures[CHAIR], window_seconds=WINDOW)
    return replace(shelf, measures={**shelf.measures, CHAIR: short})


@pytest.fixture
def chair(open_phone: OpenPhone) -> Phone:
    phone = open_phone()
    phone.live.app.state.site.catalogue = with_short_window(catalogue())
    return phone


def count(phone: Phone, stands: int) -> None:
    """Start, a tap for each stand, and the window closes itself."""
    tap_pad(phone)
    for _ in range(stands):
        phone.page.wait_for_timeout(200)
        tap_pad(phone)
    in_state(phone, "doubt")
    phone.page.wait_for_timeout(500)  # a finger still tapping presses nothing


def answered(phone: Phone) -> Trial:
    phone.page.locator(".value").wait_for()
    return trials(phone)[-1]


def shown(phone: Phone) -> str:
    return " ".join(phone.page.locator(".value").inner_text().split())


def test_stands_are_counted_and_named(chair: Phone, patient_id: int) -> None:
    open_round(chair, patient_id, CHAIR)
    chair.axe("before")
    chair.fits()
    count(chair, 5)
    chair.axe("one more?")
    chair.fits()
    chair.page.get_by_role("button", name="Yes: save 6").tap()

    assert answered(chair).count == 6
    assert shown(chair) == "6 stands"
    chair.axe("result")
    chair.fits()


def test_no_stand_in_the_window_is_saved_as_0(chair: Phone, patient_id: int) -> None:
    open_round(chair, patient_id, CHAIR)
    count(chair, 0)
    chair.page.get_by_role("button", name="No: save 0").tap()

    trial = answered(chair)
    assert (trial.outcome, trial.count, trial.inputs) == ("completed", 0, {})
    assert shown(chair) == "0 stands"


def test_arms_ticked_score_0_and_keep_the_count(chair: Phone, patient_id: int) -> None:
    open_round(chair, patient_id, CHAIR)
    count(chair, 4)
    chair.page.get_by_label("Arms were needed").check()
    chair.page.get_by_role("button", name="No: save 4").tap()

    trial = answered(chair)
    assert (trial.count, trial.inputs) == (4, {"arms_needed": "yes"})
    assert shown(chair) == "0 stands"
    says(chair, "main", "a modified count: 4")


def test_cut_short_with_the_arms_is_0_alone(chair: Phone, patient_id: int) -> None:
    open_round(chair, patient_id, CHAIR)
    count(chair, 2)
    chair.page.get_by_role("button", name="Arms needed, cut short: save 0").tap()

    trial = answered(chair)
    assert (trial.count, trial.inputs) == (0, {"arms_needed": "yes"})
    assert len(trial.splits_ms) == 2
    assert "modified count:" not in chair.page.locator("main").inner_text()


def test_too_many_is_refused_beside_the_field(chair: Phone, patient_id: int) -> None:
    open_round(chair, patient_id, CHAIR)
    chair.page.locator("[data-typed] summary").tap()
    chair.page.fill("#count", "61")
    chair.page.get_by_role("button", name="Save typed count").tap()

    says(chair, ".error", "61 is outside what a trial can be (0 to 60)")
    assert chair.page.locator("#count").input_value() == "61"
    assert trials(chair) == []
    forgive(chair, "422")


def test_zero_is_typed_without_script(open_phone: OpenPhone, patient_id: int) -> None:
    phone = open_phone(java_script_enabled=False)
    open_round(phone, patient_id, CHAIR)
    phone.page.fill("#count", "0")
    phone.page.get_by_label("Arms were needed").check()
    phone.page.get_by_role("button", name="Save typed count").tap()

    trial = answered(phone)
    assert (trial.count, trial.inputs) == (0, {"arms_needed": "yes"})


def test_count_kept_without_network_says_stands(
    open_phone: OpenPhone, patient_id: int
) -> None:
    phone = open_phone(service_workers="block")
    phone.live.app.state.site.catalogue = with_short_window(catalogue())
    open_round(phone, patient_id, CHAIR)
    with no_network(phone):
        count(phone, 3)
        phone.page.get_by_role("button", name="No: save 3").tap()
        says(phone, "[data-kept]", "3 stands")
        said = phone.page.locator("[data-kept]:visible").first.inner_text()
        assert "3.0 s" not in said
    phone.page.wait_for_selector(".value", timeout=20_000)

    assert answered(phone).count == 3
    forgive(phone)


@pytest.mark.usefixtures("today")
def test_count_on_the_sheet_says_stands(open_phone: OpenPhone) -> None:
    phone = open_phone()
    phone.live.app.state.site.catalogue = with_short_window(catalogue())
    phone.goto("/bedside")
    open_test(phone, "30-second chair stand", "window bed")
    count(phone, 2)
    phone.page.get_by_role("button", name="No: save 2").tap()

    says(phone, "[data-kept-here]", "2 stands")
    assert "3.0 s" not in phone.page.locator("[data-kept-here]").inner_text()
    assert rows(phone, Trial) == []
