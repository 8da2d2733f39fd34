"""The stopwatch under a thumb, a clicker, a wrong tap and a poor phone."""

import time
from collections.abc import Callable

import pytest

from tests.journeys.conftest import OpenPhone, Phone
from tests.journeys.test_bedside import STANDS, start_test, time_it, trials
from tests.make import PASSPHRASE

WALK = "timed_up_and_go"
#: A little less than notAtOnce in press.js waits.
AT_ONCE_S = 0.35
OUT_OF_SIGHT = """() => {
  Object.defineProperty(document, "hidden", { get: () => true, configurable: true });
  document.dispatchEvent(new Event("visibilitychange"));
}"""
STATE = "document.querySelector('form[data-stopwatch]').dataset.state"


def state(phone: Phone) -> str:
    found: str = phone.page.evaluate(STATE)
    return found


def tap_pad(phone: Phone) -> None:
    phone.page.locator("[data-pad]").tap()


def in_state(phone: Phone, wanted: str) -> None:
    phone.page.wait_for_selector(f"form[data-state={wanted}]")


# Undo


def test_undone_stop_goes_on_from_the_first_start(
    phone: Phone, patient_id: int
) -> None:
    """Undone from the result: the first trial is void, the second one time."""
    start_test(phone, patient_id, STANDS)
    time_it(phone, 3000)
    phone.page.wait_for_selector(".value")
    phone.page.get_by_role("button", name="Undo stop").tap()
    in_state(phone, "running")
    phone.page.wait_for_timeout(1500)
    tap_pad(phone)
    phone.page.wait_for_selector(".value")
    phone.page.locator(".trials s").wait_for()

    first, second = trials(phone)
    assert first.void_reason == "Stopped by mistake"
    assert second.void_reason is None
    assert first.uid != second.uid
    assert first.clocks["start"] == second.clocks["start"]
    assert second.clocks["resumed_after_undo"] is True
    assert first.raw_ms is not None
    assert second.raw_ms is not None
    assert second.raw_ms - first.raw_ms >= 1500


def test_undo_goes_away_after_ten_seconds(phone: Phone, patient_id: int) -> None:
    start_test(phone, patient_id, STANDS)
    time_it(phone, 3000)
    undo = phone.page.get_by_role("button", name="Undo stop")
    undo.wait_for()
    phone.page.wait_for_timeout(8500)
    assert undo.is_visible()
    undo.wait_for(state="hidden", timeout=3000)

    phone.page.reload()
    assert not undo.is_visible()


def test_undo_between_two_trials_keeps_what_was_ticked(
    phone: Phone, patient_id: int
) -> None:
    """The server is asked while the clock runs; what was ticked stays ticked."""
    start_test(phone, patient_id, "four_square_step")
    phone.page.get_by_text("This one is practice").tap()
    time_it(phone, 3000)
    phone.page.get_by_role("button", name="Undo stop").tap()
    in_state(phone, "running")
    phone.page.wait_for_timeout(700)
    tap_pad(phone)
    phone.page.locator(".trials li").nth(1).wait_for()

    assert [t.practice for t in trials(phone)] == [True, True]
    assert [bool(t.void_reason) for t in trials(phone)] == [True, False]


def test_undo_of_a_stop_that_is_not_sent_yet(phone: Phone, patient_id: int) -> None:
    """Undone where it asked "confirm or repeat": the server hears of one trial."""
    start_test(phone, patient_id, STANDS)
    tap_pad(phone)
    phone.page.evaluate(OUT_OF_SIGHT)
    phone.page.wait_for_timeout(500)
    tap_pad(phone)
    in_state(phone, "doubt")
    phone.page.get_by_role("button", name="Undo stop").tap()
    in_state(phone, "running")
    phone.page.wait_for_timeout(3000)
    tap_pad(phone)
    phone.page.locator("[data-confirm]").tap()
    phone.page.wait_for_selector(".value")

    (trial,) = trials(phone)
    assert trial.raw_ms is not None
    assert trial.raw_ms >= 3500


def test_undo_with_the_network_gone_voids_when_it_is_back(
    phone: Phone, patient_id: int
) -> None:
    start_test(phone, patient_id, STANDS)
    time_it(phone, 3000)
    phone.page.wait_for_selector(".value")
    phone.context.set_offline(True)
    phone.page.get_by_role("button", name="Undo stop").tap()
    in_state(phone, "running")
    assert [t.void_reason for t in trials(phone)] == [None]

    phone.page.wait_for_timeout(500)
    with phone.page.expect_response("**/void"):
        phone.context.set_offline(False)
    assert [t.void_reason for t in trials(phone)] == ["Stopped by mistake"]
    assert state(phone) == "running"
    phone.forgive("ERR_INTERNET")


def test_undo_of_a_trial_kept_on_the_phone(phone: Phone, patient_id: int) -> None:
    """Stopped and undone without a network: void once it has arrived, one time left."""
    start_test(phone, patient_id, STANDS)
    tap_pad(phone)
    in_state(phone, "running")
    phone.page.wait_for_timeout(3200)
    phone.context.set_offline(True)
    tap_pad(phone)
    phone.page.get_by_role("button", name="Undo stop").tap()
    in_state(phone, "running")
    phone.page.wait_for_timeout(500)
    phone.context.set_offline(False)
    tap_pad(phone)
    phone.page.locator(".value").wait_for()
    phone.page.locator(".trials s").wait_for()

    first, second = trials(phone)
    assert [first.void_reason, second.void_reason] == ["Stopped by mistake", None]
    assert second.clocks["start"] == first.clocks["start"]
    phone.forgive("ERR_INTERNET")


# The delayed start


def test_delayed_start_begins_at_the_planned_instant(
    phone: Phone, patient_id: int
) -> None:
    """The start lies five seconds after the touch, to the millisecond."""
    start_test(phone, patient_id, STANDS)
    phone.page.get_by_role("button", name="in 5 s").tap()
    phone.page.evaluate(
        "addEventListener('pointerdown', e => { window.touched ??= e.timeStamp }, true)"
    )
    tap_pad(phone)
    in_state(phone, "delay")
    assert phone.page.locator("[data-ahead]").inner_text() in ("5", "4")
    in_state(phone, "running")
    phone.page.wait_for_timeout(3200)
    tap_pad(phone)
    phone.page.wait_for_selector(".value")

    clocks = trials(phone)[-1].clocks
    touched = phone.page.evaluate("window.touched")
    assert clocks["start"]["mono"] - touched == pytest.approx(5000, abs=0.01)
    assert clocks["delay_ms"] == 5000


def test_count_down_is_called_off_by_a_tap(phone: Phone, patient_id: int) -> None:
    start_test(phone, patient_id, STANDS)
    phone.page.get_by_role("button", name="in 5 s").tap()
    tap_pad(phone)
    in_state(phone, "delay")
    phone.page.wait_for_timeout(400)
    tap_pad(phone)
    in_state(phone, "idle")

    phone.page.wait_for_timeout(5000)
    assert state(phone) == "idle"
    assert trials(phone) == []


def test_count_down_goes_on_after_a_reload(phone: Phone, patient_id: int) -> None:
    start_test(phone, patient_id, STANDS)
    phone.page.get_by_role("button", name="in 5 s").tap()
    tap_pad(phone)
    phone.page.wait_for_timeout(600)
    phone.page.reload()

    in_state(phone, "delay")
    in_state(phone, "running")


def test_choices_are_remembered_on_this_phone(phone: Phone, patient_id: int) -> None:
    start_test(phone, patient_id, STANDS)
    phone.page.get_by_role("button", name="in 10 s").tap()
    phone.page.get_by_text("Beep, buzz, hand").tap()
    phone.page.get_by_role("button", name="Left hand").tap()
    phone.page.reload()

    pressed = phone.page.locator("[data-pref][aria-pressed=true]")
    assert pressed.all_text_contents() == ["in 10 s", "Left hand"]
    assert phone.page.evaluate("document.documentElement.dataset.hand") == "left"


def test_cues_are_quiet_until_asked_for(phone: Phone, patient_id: int) -> None:
    """Then they sound and buzz: three seconds and the start."""
    phone.page.add_init_script(
        "window.felt = []; navigator.vibrate = (p) => { felt.push(p); return true; };"
        "window.heard = 0; const make = AudioContext.prototype.createOscillator;"
        "AudioContext.prototype.createOscillator = function () {"
        " heard += 1; return make.call(this); };"
    )
    start_test(phone, patient_id, STANDS)
    phone.page.get_by_role("button", name="in 5 s").tap()
    tap_pad(phone)
    in_state(phone, "running")
    assert phone.page.evaluate("[felt.length, heard]") == [0, 0]
    phone.page.wait_for_timeout(3500)
    tap_pad(phone)
    phone.page.wait_for_selector(".value")

    start_test(phone, patient_id, STANDS)
    phone.page.get_by_text("Beep, buzz, hand").tap()
    phone.page.get_by_role("button", name="Beep").tap()
    phone.page.get_by_role("button", name="Buzz").tap()
    tap_pad(phone)
    in_state(phone, "running")
    phone.page.wait_for_timeout(200)
    assert phone.page.evaluate("[felt, heard]") == [[60, 60, 60, 300], 4]


# Keys


#: Two presses in one task: on a busy machine two real ones may be too far apart.
TWICE_AT_ONCE = """key => {
  for (let press = 0; press < 2; press += 1)
    document.body.dispatchEvent(
      new KeyboardEvent("keydown", { key, bubbles: true, cancelable: true }));
}"""


@pytest.mark.parametrize(
    "key", ["Space", "Enter", "PageDown", "PageUp", "ArrowRight", "ArrowDown"]
)
def test_one_key_starts_and_stops(phone: Phone, patient_id: int, key: str) -> None:
    start_test(phone, patient_id, WALK)
    in_state(phone, "idle")  # a key, unlike a tap, waits for nothing
    phone.page.evaluate(TWICE_AT_ONCE, " " if key == "Space" else key)
    in_state(phone, "running")  # the second is the same finger bouncing
    phone.page.wait_for_timeout(1500)
    phone.page.keyboard.press("ArrowLeft")
    phone.page.wait_for_timeout(1700)
    phone.page.keyboard.press(key)
    phone.page.wait_for_selector(".value")

    (trial,) = trials(phone)
    assert len(trial.splits_ms) == 1
    phone.page.wait_for_timeout(300)
    assert len(trials(phone)) == 1


def test_key_on_the_focused_pad_fires_once(phone: Phone, patient_id: int) -> None:
    start_test(phone, patient_id, STANDS)
    in_state(phone, "idle")
    phone.page.locator("[data-pad]").focus()
    phone.page.keyboard.press("Enter")
    in_state(phone, "running")
    phone.page.wait_for_timeout(3200)
    phone.page.keyboard.press("Space")
    phone.page.wait_for_selector(".value")

    assert len(trials(phone)) == 1


def test_typing_is_no_key(phone: Phone, patient_id: int) -> None:
    start_test(phone, patient_id, STANDS)
    phone.page.get_by_text("Type the time").tap()
    phone.page.locator("#typed").focus()
    for key in ("1", "6", "PageDown", "ArrowLeft", "Space", "ArrowDown"):
        phone.page.keyboard.press(key)

    assert state(phone) == "idle"


# Confirm or repeat


def test_two_clocks_are_shown_and_one_is_chosen(phone: Phone, patient_id: int) -> None:
    """The phone's clock is set 50 s on during the trial."""
    start_test(phone, patient_id, STANDS)
    tap_pad(phone)
    phone.page.wait_for_timeout(3200)
    phone.page.evaluate(
        "(() => { const now = Date.now; Date.now = () => now() + 50_000; })()"
    )
    tap_pad(phone)
    in_state(phone, "doubt")
    steady = float(phone.page.locator("[data-mono]").inner_text().removesuffix(" s"))
    by_day = float(phone.page.locator("[data-wall]").inner_text().removesuffix(" s"))
    assert by_day - steady == pytest.approx(50, abs=0.11)
    assert trials(phone) == []
    phone.axe("confirm or repeat")
    phone.page.reload()
    in_state(phone, "doubt")
    phone.page.locator("[data-confirm-wall]").tap()
    phone.page.wait_for_selector(".value")

    (trial,) = trials(phone)
    clocks = trial.clocks
    assert trial.raw_ms == clocks["wall_ms"]
    assert clocks["used"] == "wall"
    assert clocks["wall_ms"] - clocks["mono_ms"] == pytest.approx(50_000, abs=20)


def test_tap_that_asks_is_no_answer(phone: Phone, patient_id: int) -> None:
    """The finger that stopped lifts over "Repeat": the time is still there."""
    phone.page.set_viewport_size({"width": 320, "height": 568})
    start_test(phone, patient_id, WALK)
    tap_pad(phone)
    phone.page.evaluate(OUT_OF_SIGHT)
    phone.page.wait_for_timeout(600)
    tap_pad(phone)
    in_state(phone, "doubt")
    phone.page.wait_for_timeout(400)

    assert state(phone) == "doubt"


def test_second_half_of_a_double_tap_is_no_answer(
    phone: Phone, patient_id: int
) -> None:
    """A nervous double tap on stop, whose second half lands on the question."""
    phone.page.set_viewport_size({"width": 320, "height": 568})
    tried = (taps_all_over_the_pad(phone, patient_id) for _ in range(10))
    assert any(took < AT_ONCE_S for took in tried), "too busy a machine for such taps"
    phone.page.wait_for_timeout(500)

    assert state(phone) == "doubt"


def taps_all_over_the_pad(phone: Phone, patient_id: int) -> float:
    """Stop a doubtful time by several taps, and say in how many seconds they came."""
    start_test(phone, patient_id, WALK)
    tap_pad(phone)
    phone.page.evaluate(OUT_OF_SIGHT)
    phone.page.wait_for_timeout(600)
    box = phone.page.locator("[data-pad]").bounding_box()
    assert box is not None
    began = time.monotonic()
    for up in (0.2, 0.35, 0.5, 0.65, 0.8):  # wherever a button has come to lie
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] * up
        phone.page.touchscreen.tap(x, y)
    return time.monotonic() - began


def test_page_from_the_cache_looks_again(phone: Phone, patient_id: int) -> None:
    """Another tab may have stopped and sent it meanwhile."""
    start_test(phone, patient_id, STANDS)
    tap_pad(phone)
    phone.page.wait_for_timeout(300)
    phone.page.evaluate("localStorage.clear()")
    phone.page.evaluate(
        "dispatchEvent(new PageTransitionEvent('pageshow', { persisted: true }))"
    )

    assert state(phone) == "idle"


def test_time_of_an_earlier_edition_is_taken_up(phone: Phone, patient_id: int) -> None:
    """The program was updated while a trial ran."""
    start_test(phone, patient_id, STANDS)
    tap_pad(phone)
    phone.page.evaluate("""() => {
      const [key] = Object.keys(localStorage).filter((k) => k.includes(".run."));
      const { uid, start, splits, stop, hidden, confirmed, outcome } =
        JSON.parse(localStorage[key]);
      localStorage[key] = JSON.stringify(
        { uid, start, splits, stop, hidden, confirmed, outcome });
    }""")
    phone.page.reload()
    in_state(phone, "running")
    phone.page.wait_for_timeout(3200)
    tap_pad(phone)
    phone.page.locator("[data-confirm]").tap()
    phone.page.wait_for_selector(".value")

    assert trials(phone)[-1].clocks["resumed"] is True


# Said, seen, and without


def test_screen_reader_hears_starts_parts_and_stops_only(
    phone: Phone, patient_id: int
) -> None:
    start_test(phone, patient_id, WALK)
    phone.page.evaluate("""() => {
      window.said = [];
      const place = document.querySelector("[data-said]");
      new MutationObserver(() => said.push(place.textContent))
        .observe(place, { childList: true, characterData: true, subtree: true });
    }""")
    time_it(phone, 3000, parts=1)
    phone.page.wait_for_selector(".value")

    said = phone.page.evaluate("said")
    assert [words.split(" ")[0] for words in said[:2]] == ["Running", "Part"]
    assert said[2].endswith(" seconds")
    assert len(said) <= 4


def test_pad_takes_touches_as_they_land(phone: Phone, patient_id: int) -> None:
    """No zoom by double tap on it, and pinch zoom of the page is never locked."""
    start_test(phone, patient_id, STANDS)
    touch = "e => getComputedStyle(e).touchAction"
    for css in ("html", "body", "button"):
        assert phone.page.locator(css).first.evaluate(touch) == "manipulation"
    assert phone.page.locator("[data-pad]").evaluate(touch) == "none"
    viewport = phone.page.locator("meta[name=viewport]").get_attribute("content")
    assert viewport is not None
    for locked in ("user-scalable", "maximum-scale", "minimum-scale"):
        assert locked not in viewport


GONE = {
    "wakeLock": "delete Navigator.prototype.wakeLock",
    "wakeLock refused": "navigator.wakeLock.request = async () => { throw Error(); }",
    "vibrate": "delete Navigator.prototype.vibrate",
    "AudioContext": "delete window.AudioContext; delete window.webkitAudioContext",
    "speechSynthesis": "delete window.speechSynthesis",
    "localStorage": "Object.defineProperty(window, 'localStorage', {"
    " get() { throw new DOMException('no', 'SecurityError'); } })",
    "full disk": "Storage.prototype.setItem = () => {"
    " throw new DOMException('full', 'QuotaExceededError'); }",
}


@pytest.mark.parametrize("missing", list(GONE))
def test_flow_completes_without(phone: Phone, patient_id: int, missing: str) -> None:
    """Count-down with everything asked for, a part, a stop, an undo, a stop."""
    phone.page.add_init_script(GONE[missing])
    start_test(phone, patient_id, WALK)
    phone.page.get_by_text("Beep, buzz, hand").tap()
    for like in phone.page.locator("[data-likes] button:enabled").all():
        like.tap()
    phone.page.get_by_role("button", name="in 5 s").tap()
    tap_pad(phone)
    in_state(phone, "delay")
    in_state(phone, "running")
    if "wakeLock" in missing:
        assert "may darken" in phone.page.locator("[data-wake]").inner_text()
    phone.page.wait_for_timeout(1000)
    phone.page.locator("[data-split]").tap()
    phone.page.wait_for_timeout(2500)
    tap_pad(phone)
    phone.page.wait_for_selector(".value")
    phone.page.get_by_role("button", name="Undo stop").tap()
    in_state(phone, "running")
    phone.page.wait_for_timeout(500)
    tap_pad(phone)
    phone.page.wait_for_selector(".value")

    last = trials(phone)[-1]
    assert last.clocks["resumed_after_undo"] is True
    assert len(last.splits_ms) == 1


@pytest.mark.parametrize(
    ("size", "zoom"), [((320, 568), ""), ((844, 390), ""), ((390, 844), "200%")]
)
def test_pad_and_digits_are_in_sight(
    open_phone: OpenPhone, patient_id: int, size: tuple[int, int], zoom: str
) -> None:
    """Running: digits, "make safe" and a pad of 48 px and more, with nothing wider."""
    phone = open_phone(viewport={"width": size[0], "height": size[1]})
    start_test(phone, patient_id, WALK)
    phone.page.evaluate(f"document.documentElement.style.fontSize = '{zoom}'")
    tap_pad(phone)
    in_state(phone, "running")
    phone.fits()
    for css in ("[data-pad]", "[data-clock]", "[data-safe]", "[data-split]"):
        box = phone.page.locator(css).bounding_box()
        assert box is not None, css
        assert box["y"] >= 0, css
        assert box["y"] + box["height"] <= size[1] + 1, css
        assert box["height"] >= 48, css
    if size[0] > size[1]:
        assert _x(phone, "[data-pad]") > _x(phone, "[data-clock]")


def _x(phone: Phone, css: str) -> float:
    box = phone.page.locator(css).bounding_box()
    assert box is not None
    return box["x"]


def test_left_hand_mirrors_the_small_buttons(phone: Phone, patient_id: int) -> None:
    start_test(phone, patient_id, WALK)
    tap_pad(phone)
    right = _x(phone, "[data-safe]") < _x(phone, "[data-split]")
    phone.page.evaluate("document.documentElement.dataset.hand = 'left'")

    assert right
    assert _x(phone, "[data-safe]") > _x(phone, "[data-split]")


LARGE_TEXT = "document.documentElement.style.fontSize = '200%'"
LOOKS: dict[str, Callable[[OpenPhone], Phone]] = {
    "light": lambda open_phone: open_phone(color_scheme="light"),
    "320 px": lambda open_phone: open_phone(viewport={"width": 320, "height": 640}),
    "text at 200 %": lambda open_phone: open_phone(
        viewport={"width": 390, "height": 844}
    ),
    "dark": lambda open_phone: open_phone(color_scheme="dark"),
    "high contrast": lambda open_phone: open_phone(forced_colors="active"),
    "less motion": lambda open_phone: open_phone(reduced_motion="reduce"),
}


@pytest.mark.parametrize("look", list(LOOKS))
def test_every_state_is_accessible(
    open_phone: OpenPhone, patient_id: int, look: str
) -> None:
    phone = LOOKS[look](open_phone)
    start_test(phone, patient_id, WALK)

    def sound(where: str) -> None:
        if look == "text at 200 %":
            phone.page.evaluate(LARGE_TEXT)
        phone.axe(f"{look}: {where}")
        phone.fits()

    sound("idle")
    phone.page.get_by_role("button", name="in 5 s").tap()
    tap_pad(phone)
    in_state(phone, "delay")
    sound("count-down")
    in_state(phone, "running")
    sound("running")
    phone.page.evaluate(OUT_OF_SIGHT)
    phone.page.wait_for_timeout(3000)
    tap_pad(phone)
    in_state(phone, "doubt")
    sound("confirm or repeat")
    phone.page.locator("[data-confirm]").tap()
    phone.page.locator("[data-undo-stop]:visible").wait_for()
    sound("undo offered")
    phone.page.locator("[data-undo-stop]:visible").tap()
    in_state(phone, "running")
    phone.page.locator("[data-safe]").tap()
    phone.page.locator("#make-safe").wait_for()
    sound("make safe")


SHOWS_FOCUS = """() => {
  const at = document.activeElement;
  if (!at || at === document.body) return '';
  const ring = (e) => {
    const style = e && getComputedStyle(e);
    return style?.outlineStyle !== 'none' && parseFloat(style?.outlineWidth) >= 2;
  };
  if (!ring(at) && !ring(at.closest('label'))) return 'NO OUTLINE';
  return at.getAttribute('name') ?? at.textContent.trim();
}"""


def tab_to(phone: Phone, words: str) -> None:
    """Tab until the focus, which always shows, is on what says so."""
    seen: list[str] = []
    for _ in range(60):
        phone.page.keyboard.press("Tab")
        at = phone.page.evaluate(SHOWS_FOCUS)
        assert at != "NO OUTLINE", (seen, phone.page.url)
        if words in at:
            return
        seen.append(at[:30])
    pytest.fail(f"{words!r} was never reached: {seen}")


def by_key(phone: Phone, words: str, key: str = "Enter") -> None:
    tab_to(phone, words)
    phone.page.keyboard.press(key)


def test_whole_test_with_the_keyboard_alone(
    open_phone: OpenPhone, patient_id: int
) -> None:
    """From the sign-in to the reading, and a trial that does not count."""
    desk = open_phone(has_touch=False, is_mobile=False)
    desk.context.clear_cookies()
    page, press = desk.page, desk.page.keyboard
    desk.goto("/sign-in")
    tab_to(desk, "handle")
    press.type("therapist")
    tab_to(desk, "passphrase")
    press.type(PASSPHRASE)
    press.press("Enter")
    page.wait_for_url("**/caseload")
    by_key(desk, "Blue 7")
    page.wait_for_url(f"**/patients/{patient_id}")
    by_key(desk, "Choose a test")
    page.wait_for_url("**/measures")
    by_key(desk, "Five times sit to stand")
    page.wait_for_url("**/ready")
    by_key(desk, "Open the test")
    page.wait_for_url("**/rounds/*")
    for _ in range(2):
        in_state(desk, "idle")
        press.press("Space")  # a clicker's key: wherever the focus is
        in_state(desk, "running")
        page.wait_for_timeout(3300)
        press.press("Space")
        page.locator(".value").wait_for()
        if trials(desk)[0].void_reason is None:
            by_key(desk, "Void this trial")
            by_key(desk, "void_reason", "Space")
            by_key(desk, "Void it and repeat")

    first, second = trials(desk)
    assert first.void_reason
    assert second.void_reason is None
