"""The tools for doing an activity, on a phone held in one hand."""

import json
from collections.abc import Callable
from itertools import pairwise
from typing import Any

import pytest
from playwright.sync_api import Page, Route, expect

from tests.journeys.conftest import OpenPhone, Phone
from tests.journeys.test_weights import KB, OWN_SCRIPT, Meter

CALLS = "[data-called] button"
DEAF_AND_DUMB = """
for (const name of ["speechSynthesis", "SpeechSynthesisUtterance", "AudioContext"])
  Object.defineProperty(window, name, { value: undefined });
delete Navigator.prototype.vibrate;
delete Navigator.prototype.wakeLock;
"""
#: Remembers what was spoken, in the place of a voice.
VOICE = """
window.spoken = [];
class Utterance { constructor(text) { this.text = text; } }
const speaks = { speaking: false, pending: false, getVoices: () => [1],
  speak: ({ text }) => spoken.push(text), cancel: () => spoken.push("(hush)") };
Object.defineProperty(window, "SpeechSynthesisUtterance", { value: Utterance });
Object.defineProperty(window, "speechSynthesis", { value: speaks });
"""
#: Twenty touches in two seconds, as a screen reports them.
TAPS = """(css) => new Promise((done) => {
  let left = 20;
  const pad = document.querySelector(css);
  const one = () => {
    pad.dispatchEvent(new PointerEvent("pointerdown",
      { bubbles: true, isPrimary: true, button: 0, pointerId: left }));
    left -= 1;
    if (left) setTimeout(one, 95); else done();
  };
  one();
})"""


@pytest.fixture
def clocked(phone: Phone) -> Phone:
    """Time stands still until the test lets it run; see `open_tool`."""
    phone.page.clock.install(time=0)
    return phone


def open_tool(phone: Phone, key: str) -> Page:
    phone.goto(f"/activities/tools?tool={key}")
    phone.page.locator("[data-tool-live]:visible, [data-rest]:visible").first.wait_for()
    if phone.page.evaluate("Date.now() < 86400000 * 365"):  # not the real time
        phone.page.clock.pause_at(phone.page.evaluate("Date.now()") / 1000 + 60)
    return phone.page


def look_at(phone: Phone, where: str) -> None:
    """The check of what is shown may itself wait for time to go on."""
    phone.page.clock.resume()
    phone.axe(where)


def value(page: Page, name: str) -> str:
    return page.locator(f"input[name={name}]").input_value()


def call_all(page: Page, seed: str, seconds: int) -> list[str]:
    """What is called by this order, from the start to the end."""
    page.get_by_text("How it calls").tap()
    page.locator("[data-option=seed]").fill(seed)
    page.locator("[data-call-start]").tap()
    page.clock.run_for(seconds * 1000)
    page.locator("[data-called]").wait_for(state="visible")
    called: list[str] = json.loads(value(page, "log"))["calls"]
    return called


def kept_under(open_phone: OpenPhone, key: str) -> Phone:
    """As on an activity's card: what is counted lies on the phone under this key."""
    phone = open_phone(service_workers="block")  # its requests cannot be changed

    def with_key(route: Route) -> None:
        answer = route.fetch()
        text = answer.text().replace(
            'data-activity-set=""', f'data-activity-set="{key}"'
        )
        text = text.replace('data-rest-key=""', f'data-rest-key="rest-{key}"')
        route.fulfill(response=answer, body=text)

    phone.page.route("**/activities/tools?*", with_key)
    return phone


def test_same_order_calls_the_same_and_wrong_ones_are_marked(clocked: Phone) -> None:
    page = open_tool(clocked, "directions")
    first = call_all(page, "4821", 30)
    shown = page.locator(CALLS).all_inner_texts()
    page.locator(CALLS).nth(1).tap()
    page.locator(CALLS).nth(4).tap()
    assert [value(page, n) for n in ("calls", "correct", "errors")] == ["10", "8", "2"]
    log = json.loads(value(page, "log"))
    assert (log["kind"], log["seed"], log["pace_ms"]) == ("directions", 4821, 2000)
    assert log["wrong"] == [1, 4]
    page.locator(CALLS).nth(4).tap()
    assert [value(page, n) for n in ("correct", "errors")] == ["9", "1"]
    look_at(clocked, "after the calls")
    clocked.fits()

    again = call_all(open_tool(clocked, "directions"), "4821", 30)
    other = call_all(open_tool(clocked, "directions"), "4822", 30)

    assert len(first) == 10
    assert again == first != other
    assert shown == [f"{place} · {call}" for place, call in enumerate(first, 1)]


def test_calls_are_shown_spoken_and_paced(clocked: Phone) -> None:
    clocked.page.add_init_script(VOICE)
    page = open_tool(clocked, "clock")
    page.locator("[data-call-start]").tap()
    shown = page.locator("[data-call]")
    expect(shown).to_have_text("Ready")
    page.clock.run_for(2100)
    first = shown.inner_text()
    page.clock.run_for(1800)
    assert shown.inner_text() == first  # two seconds, not before
    page.clock.run_for(200)
    second = shown.inner_text()
    spoken: list[str] = page.evaluate("spoken.filter((word) => word !== '(hush)')")
    assert spoken == ["Ready", f"{first} o'clock", f"{second} o'clock"]
    assert shown.get_attribute("aria-live") == "assertive"
    page.locator("[data-call-pause]").tap()
    page.clock.run_for(20_000)
    assert value(page, "calls") == "2"
    page.locator("[data-call-on]").tap()
    page.clock.run_for(2100)
    assert value(page, "calls") == "3"
    look_at(clocked, "while calling")


def test_error_pad_marks_the_call_it_was_tapped_at(clocked: Phone) -> None:
    page = open_tool(clocked, "directions")
    page.locator("[data-call-start]").tap()
    page.clock.run_for(4100)  # two calls
    page.locator(".caller [data-add=errors]").tap()
    page.clock.run_for(2000)
    page.locator("[data-call-stop]:visible").tap()

    assert json.loads(value(page, "log"))["wrong"] == [1]
    assert [value(page, n) for n in ("calls", "correct", "errors")] == ["3", "2", "1"]


def test_red_button_stops_what_runs(clocked: Phone) -> None:
    page = open_tool(clocked, "directions")
    page.evaluate(
        """document.querySelector("main").insertAdjacentHTML(
        "beforeend", '<button type="button" data-safe>Stop - make safe</button>')"""
    )
    page.locator("[data-call-start]").tap()
    page.clock.run_for(4100)
    page.locator("[data-safe]").tap()
    page.clock.run_for(20_000)

    assert value(page, "calls") == "2"
    expect(page.locator("[data-called]")).to_be_visible()


def test_calls_pause_while_nobody_can_see_them(clocked: Phone) -> None:
    page = open_tool(clocked, "go_stop")
    page.locator("[data-call-start]").tap()
    page.clock.run_for(2100)
    page.evaluate(
        """Object.defineProperty(document, "hidden", { value: true });
        document.dispatchEvent(new Event("visibilitychange"));"""
    )
    page.clock.run_for(30_000)

    assert value(page, "calls") == "1"
    expect(page.locator("[data-rule]")).to_contain_text("out of sight")


def test_without_voice_sound_and_buzz_it_says_so_and_works(clocked: Phone) -> None:
    clocked.page.add_init_script(DEAF_AND_DUMB)
    page = open_tool(clocked, "marks")
    expect(page.locator("[data-voice]")).to_contain_text("read the words out")
    called = call_all(page, "1", 40)

    assert len(called) == 10
    page = open_tool(clocked, "beat")
    page.get_by_text("A steady beat").tap()
    page.locator("[data-heard]").check()
    page.locator("[data-felt]").check()
    page.locator("[data-beat-go]").tap()
    said = page.locator("[data-beat-said]")
    expect(said).to_contain_text("no sound")
    expect(said).to_contain_text("cannot buzz")


def test_beat_is_seen_side_by_side_in_its_time(clocked: Phone) -> None:
    page = open_tool(clocked, "beat")
    page.get_by_text("A steady beat").tap()
    mark = page.locator("[data-beat-mark]")
    expect(mark).to_be_hidden()
    page.locator("[data-beat-go]").tap()  # none is on: it is at least seen
    mark.evaluate(
        """(mark) => { window.sides = [];
          new MutationObserver(() => window.sides.push(mark.dataset.side))
            .observe(mark, { attributeFilter: ["data-side"] }); }"""
    )
    for _ in range(6):
        page.clock.run_for(1000)
    sides = page.evaluate("window.sides")

    assert len(sides) >= 5
    assert {*sides} == {"left", "right"}
    assert all(one != other for one, other in pairwise(sides)), sides
    look_at(clocked, "beat")
    page.locator("[data-beat-go]").tap()
    expect(mark).to_be_hidden()


def test_twenty_taps_in_two_seconds_count_twenty(phone: Phone) -> None:
    page = open_tool(phone, "count")
    page.evaluate(TAPS, "[data-counts=reps] [data-add]")
    assert value(page, "reps") == "20"
    expect(page.locator("[data-counts=reps] [data-count]")).to_have_text("20")
    page.get_by_role("button", name="Less: Repetitions").tap()

    assert value(page, "reps") == "19"
    phone.axe("counting")


def test_hold_and_counts_survive_a_reload(open_phone: OpenPhone) -> None:
    phone = kept_under(open_phone, "set-1-S01")
    page = open_tool(phone, "hold")
    pad = page.locator("[data-holds] [data-pad]")
    pad.tap()
    page.wait_for_timeout(600)
    pad.tap()
    page.wait_for_timeout(300)
    pad.tap()
    page.wait_for_timeout(500)
    page.reload()
    page.locator("[data-holds][data-state=running]").wait_for()
    page.wait_for_timeout(300)
    pad.tap()

    first, second = map(int, value(page, "holds_ms").split(","))
    assert 550 <= first <= 1500
    assert second >= 800
    expect(page.locator("[data-holds-note]")).to_contain_text("loaded again")
    expect(page.locator("[data-holds-says]")).to_contain_text("2: last")
    page.locator("[data-take-back]").tap()
    assert value(page, "holds_ms") == str(first)
    page.reload()
    expect(page.locator("[data-holds-says]")).to_contain_text("1: last")
    phone.axe("holds")
    assert "Blue" not in page.evaluate("JSON.stringify({ ...localStorage })")


def test_saved_set_is_forgotten_on_the_phone(open_phone: OpenPhone) -> None:
    phone = kept_under(open_phone, "set-1-S01")
    page = open_tool(phone, "count")
    page.locator("[data-counts=reps] [data-add]").tap()
    kept: Callable[[], Any] = lambda: page.evaluate(  # noqa: E731
        "localStorage.getItem('tapeline.run.set-1-S01')"
    )
    assert '"reps":"1"' in kept()
    page.evaluate(
        """document.querySelector("[data-activity-set]").dispatchEvent(
        new CustomEvent("outbox:kept", { bubbles: true, detail: {} }))"""
    )

    assert kept() is None
    assert value(page, "reps") == ""
    expect(page.locator("[data-counts=reps] [data-count]")).to_have_text("–")


def test_rest_counts_down_and_says_its_end(clocked: Phone) -> None:
    page = open_tool(clocked, "rest")
    page.locator("[data-rest-start]").tap()
    page.clock.run_for(45_400)
    assert page.locator("[data-rest-left]").inner_text() == "0:15"
    page.clock.fast_forward(15_000)  # as if the phone had slept

    expect(page.locator("[data-rest-said]")).to_have_text("Rest is over")
    look_at(clocked, "rest")


def test_rest_goes_on_over_a_reload(open_phone: OpenPhone) -> None:
    phone = kept_under(open_phone, "set-1-S01")
    page = open_tool(phone, "rest")
    page.locator("[data-rest-start]").tap()
    page.wait_for_timeout(2200)
    page.reload()
    page.locator("[data-rests=yes]").wait_for()

    assert page.locator("[data-rest-left]").inner_text() < "0:59"
    page.locator("[data-rest-start]").tap()
    assert "rest-" not in page.evaluate("Object.keys(localStorage).join()")


@pytest.mark.parametrize("width", [320, 390, 1280])
def test_tools_are_accessible_and_fit(open_phone: OpenPhone, width: int) -> None:
    phone = open_phone(viewport={"width": width, "height": 844})
    phone.goto("/activities/tools")
    phone.axe("list")
    phone.fits()
    links = phone.page.locator("main a.person").evaluate_all(
        "all => all.map(a => a.href)"
    )
    for link in links:
        phone.page.goto(link)
        phone.page.evaluate(
            "document.querySelectorAll('details').forEach(d => d.open = true)"
        )
        phone.axe(link)
        phone.fits()
        phone.page.evaluate("document.documentElement.style.fontSize = '200%'")
        phone.fits()


#: A call, and what the caller says of its longest word.
LONG_WORDS = (
    ("12", "short"),
    ("right front", "no"),
    ("backward", "yes"),
    ("right backwards", "yes"),
    ("diagonally", "very"),
)


def test_longest_call_fits_at_twice_the_text(open_phone: OpenPhone) -> None:
    phone = open_phone(viewport={"width": 390, "height": 844})
    page = open_tool(phone, "directions")
    page.evaluate("document.documentElement.style.fontSize = '200%'")
    page.locator("[data-call-start]").tap()
    for words, long in LONG_WORDS:
        fits = page.evaluate(
            """([words, long]) => {
              const call = document.querySelector("[data-call]");
              call.dataset.long = long; call.textContent = words;
              const text = document.createRange(); text.selectNodeContents(call);
              const lines = new Set([...text.getClientRects()].map((r) => r.top)).size;
              const inside = text.getBoundingClientRect();
              const box = call.getBoundingClientRect();
              return [lines <= words.split(" ").length,
                inside.left >= box.left && inside.right <= box.right]; }""",
            [words, long],
        )
        assert fits == [True, True], words


def test_tools_of_an_activity_are_light(open_phone: OpenPhone) -> None:
    phone = open_phone(service_workers="block")
    meter = Meter(phone)
    phone.goto("/activities/tools?tool=clock")
    script = meter.read()["own script"]

    assert 5 * KB < script <= OWN_SCRIPT, script
