"""Counting at the touch, the window that closes itself, and the hold that ends."""

from pathlib import Path

import pytest

from app.storage.trials import Trial
from tests.journeys.conftest import OpenPhone, Phone
from tests.journeys.test_bedside import start_test, trials
from tests.journeys.test_stopwatch import OUT_OF_SIGHT, in_state, tap_pad
from tests.journeys.timed_measures import with_timed

WINDOW_MS = 4000
CEILING_MS = 2000
#: Touches made by the page itself, each at its own time, as fast as a thumb can.
TAP_OFTEN = """async ([css, times, apart]) => {
  const pause = (ms) => new Promise((done) => setTimeout(done, ms));
  const element = document.querySelector(css);
  for (let n = 0; n < times; n += 1) {
    for (const type of ["pointerdown", "pointerup", "click"]) {
      element.dispatchEvent(new PointerEvent(
        type, { bubbles: true, cancelable: true, isPrimary: true, button: 0 }));
    }
    await pause(apart);
  }
}"""

#: A tenth of a second is over before a busy machine looks: the page looks itself.
WATCH_THE_LIGHT = """() => {
  window.lights = [];
  const seen = () => {
    const boxes = [...document.querySelectorAll(".lit")]
      .map((lit) => lit.getBoundingClientRect());
    const area = boxes.reduce((sum, box) => sum + box.width * box.height, 0);
    lights.push({ area });
  };
  new MutationObserver(seen).observe(document.body, {
    subtree: true, attributes: true, attributeFilter: ["class"] });
}"""


@pytest.fixture
def counting(open_phone: OpenPhone, tmp_path: Path) -> Phone:
    """A phone at a site that has the two made-up measures."""
    phone = open_phone()
    made = with_timed(
        tmp_path / "made", window=WINDOW_MS // 1000, ceiling=CEILING_MS // 1000
    )
    phone.live.app.state.site.catalogue = made
    return phone


def tap_often(phone: Phone, css: str, times: int, apart: int) -> None:
    phone.page.evaluate(TAP_OFTEN, [css, times, apart])


def answered(phone: Phone) -> Trial:
    phone.page.locator(".value").wait_for()
    return trials(phone)[-1]


def test_repetitions_are_counted_to_the_exact_window(
    counting: Phone, patient_id: int
) -> None:
    """The window closes itself, to the millisecond, and then one more is asked for."""
    start_test(counting, patient_id, "rises")
    tap_pad(counting)
    counting.page.wait_for_timeout(250)
    tap_often(counting, "[data-pad]", 4, 250)
    assert counting.page.locator("[data-count]").inner_text() == "4"
    counting.page.get_by_role("button", name="Take one back").tap()
    assert counting.page.locator("[data-count]").inner_text() == "3"
    in_state(counting, "doubt")
    assert "halfway" in counting.page.locator("[data-doubt]").inner_text()
    assert trials(counting) == []
    counting.axe("one more?")
    counting.page.get_by_role("button", name="Yes: save 4").tap()

    trial = answered(counting)
    clocks = trial.clocks
    ran = clocks["stop"]["mono"] - clocks["start"]["mono"]
    assert trial.count == 4
    assert len(trial.splits_ms) == 3
    assert ran == pytest.approx(WINDOW_MS, abs=0.01)
    assert counting.page.locator(".value").inner_text().startswith("4")


def test_counting_is_accessible(
    open_phone: OpenPhone, patient_id: int, tmp_path: Path
) -> None:
    phone = open_phone()
    made = with_timed(tmp_path / "made", window=60)
    phone.live.app.state.site.catalogue = made
    start_test(phone, patient_id, "rises")
    phone.axe("before")
    phone.fits()
    tap_pad(phone)
    phone.page.wait_for_timeout(300)
    tap_pad(phone)
    phone.axe("counting")
    phone.fits()


def test_no_more_under_way_saves_what_was_counted(
    counting: Phone, patient_id: int
) -> None:
    start_test(counting, patient_id, "rises")
    tap_pad(counting)
    counting.page.wait_for_timeout(300)
    tap_pad(counting)
    counting.page.get_by_role("button", name="No: save 1").tap()

    assert answered(counting).count == 1


def test_twenty_taps_in_two_seconds_are_twenty(
    counting: Phone, patient_id: int
) -> None:
    start_test(counting, patient_id, "rises")
    tap_pad(counting)
    counting.page.wait_for_timeout(200)
    tap_often(counting, "[data-pad]", 20, 95)
    counting.page.get_by_role("button", name="No: save 20").tap()

    assert answered(counting).count == 20


def test_tally_beside_a_time_counts_twenty_in_two_seconds(
    phone: Phone, patient_id: int
) -> None:
    start_test(phone, patient_id, "tug_cognitive")
    tap_pad(phone)
    tap_often(phone, "[data-add='input-numbers_said']", 20, 95)
    value = phone.page.locator("input[name='input-numbers_said']").input_value()

    assert value == "20"


def test_touch_after_the_window_is_not_counted(
    counting: Phone, patient_id: int
) -> None:
    """The page was too busy to close the window in time: the touch's time decides."""
    start_test(counting, patient_id, "rises")
    tap_pad(counting)
    counting.page.wait_for_timeout(500)
    tap_pad(counting)
    counting.page.evaluate(
        """(window_ms) => {
      const end = performance.now() + window_ms;
      while (performance.now() < end);
      document.querySelector("[data-pad]").dispatchEvent(new PointerEvent(
        "pointerdown", { bubbles: true, isPrimary: true, button: 0 }));
    }""",
        WINDOW_MS,
    )
    counting.page.get_by_role("button", name="No: save 1").tap()

    clocks = answered(counting).clocks
    ran = clocks["stop"]["mono"] - clocks["start"]["mono"]
    assert ran == pytest.approx(WINDOW_MS, abs=0.01)


def test_counted_repetitions_survive_a_reload(counting: Phone, patient_id: int) -> None:
    start_test(counting, patient_id, "rises")
    tap_pad(counting)
    for _ in range(2):
        counting.page.wait_for_timeout(250)
        tap_pad(counting)
    counting.page.reload()
    in_state(counting, "doubt")
    assert "loaded again" in counting.page.locator("[data-why]").inner_text()
    counting.page.get_by_role("button", name="No: save 2").tap()

    assert answered(counting).clocks["resumed"] is True


def test_repetitions_stop_for_safety_at_once(counting: Phone, patient_id: int) -> None:
    start_test(counting, patient_id, "rises")
    tap_pad(counting)
    counting.page.wait_for_timeout(700)
    counting.page.locator("[data-safe]").tap()
    counting.page.locator(".value").wait_for()

    (trial,) = trials(counting)
    assert trial.outcome == "stopped"
    assert trial.count is None
    assert trial.clocks["stopped_at_ms"] >= 600


def test_only_the_number_lights_up(counting: Phone, patient_id: int) -> None:
    """A fast flash of a large area can set off a seizure: this one stays small."""
    start_test(counting, patient_id, "rises")
    tap_pad(counting)
    counting.page.wait_for_timeout(300)
    counting.page.evaluate(WATCH_THE_LIGHT)
    tap_pad(counting)
    counting.page.wait_for_function("() => lights.length === 2")
    lit, dark = counting.page.evaluate("() => lights")

    assert 0 < lit["area"] < 341 * 256
    assert dark["area"] == 0


def test_count_is_typed_without_script(
    open_phone: OpenPhone, patient_id: int, tmp_path: Path
) -> None:
    phone = open_phone(java_script_enabled=False)
    phone.live.app.state.site.catalogue = with_timed(tmp_path / "made")
    start_test(phone, patient_id, "rises")
    assert not phone.page.locator("[data-pad]").is_visible()
    phone.page.fill("#count", "12")
    phone.page.get_by_role("button", name="Save typed count").tap()

    assert answered(phone).count == 12


def test_hold_ends_itself_to_the_millisecond(counting: Phone, patient_id: int) -> None:
    start_test(counting, patient_id, "stance")
    tap_pad(counting)

    trial = answered(counting)
    assert trial.raw_ms == CEILING_MS
    assert trial.clocks["doubtful"] is False
    assert not counting.page.get_by_role("button", name="Undo stop").is_visible()


def test_hold_ends_sooner_by_a_tap(counting: Phone, patient_id: int) -> None:
    start_test(counting, patient_id, "stance")
    tap_pad(counting)
    counting.page.wait_for_timeout(700)
    tap_pad(counting)

    raw = answered(counting).raw_ms
    assert raw is not None
    assert 700 <= raw < CEILING_MS


def test_hold_out_of_sight_is_asked_about(counting: Phone, patient_id: int) -> None:
    start_test(counting, patient_id, "stance")
    tap_pad(counting)
    counting.page.evaluate(OUT_OF_SIGHT)
    in_state(counting, "doubt")
    assert trials(counting) == []
    counting.page.locator("[data-confirm]").tap()

    assert answered(counting).raw_ms == CEILING_MS
