"""A robot student on the real practice page: its known delays come back as figures."""

import random
from dataclasses import dataclass
from math import sqrt

import pytest
from scipy import stats
from sqlmodel import select

from app.practice.agreement import limits_of_agreement
from app.practice.attempt import Attempt
from app.practice.case import Key
from app.practice.make_safe import safe_from
from app.storage.database import read_session
from app.storage.practice import PracticeAttempt, PracticeShowing
from app.storage.practice_beside import attempts_of
from app.web.practice_book import book, timeline_of
from tests.conftest import person_by
from tests.journeys.conftest import OpenPhone, Phone
from tests.journeys.deeds import forgive, no_network, on_disk
from tests.make_practice import draw_next

#: The robot stops so late: mean and standard deviation, ms.
BIAS, SD, TIMES = 150, 100, 10
#: Held up longer by a busy machine, the robot does it again; ms.
OFF_AT_MOST = 40
#: The shortest case there is: a leg held for few seconds.
SHORT = "one_leg_stroke"
LOOKS: dict[str, dict[str, object]] = {
    "phone": {},
    "dark": {"color_scheme": "dark"},
    "320 px": {"viewport": {"width": 320, "height": 640}},
    "desktop": {"viewport": {"width": 1280, "height": 800}, "is_mobile": False},
}
#: Presses the pad at these instants after the figure's start, on the clock of touches.
ROBOT = """async ([start, stop]) => {
  const figure = document.querySelector("[data-figure]");
  const pad = document.querySelector("[data-pad]");
  figure.addEventListener("figure:began", (event) => {
    window.began = event.detail.origin;
  });
  figure.querySelector("[data-figure-play]").click();
  while (window.began === undefined) await new Promise(requestAnimationFrame);
  const press = async (at) => {
    const due = window.began + at;
    await new Promise((done) => setTimeout(done, due - performance.now() - 80));
    while (performance.now() < due) { /* to the millisecond */ }
    const how = { bubbles: true, isPrimary: true, button: 0, pointerId: 1 };
    const event = new PointerEvent("pointerdown", how);
    pad.dispatchEvent(event);
    return event.timeStamp - window.began;
  };
  return [await press(start), await press(stop)];
}"""


@dataclass(frozen=True)
class Timed:
    """What the robot did in truth, ms after the figure's start, and the key."""

    start: float
    stop: float
    key: Key

    def slipped(self, late: float) -> bool:
        """The machine held the robot up: no delay of the student's."""
        start, stop = self.start - self.key.start_ms, self.stop - self.key.stop_ms
        return max(abs(start), abs(stop - late)) > OFF_AT_MOST


def open_trial(phone: Phone, case: str, trial: int) -> Key:
    """Up to where the figure waits to be started; its key, which the page has not."""
    phone.goto(f"/practice/{case}/{trial}")
    phone.page.get_by_role("button", name="Watch and time it").click()
    form = phone.page.locator("form[action*=showings]")
    form.wait_for()
    action = form.get_attribute("action") or ""
    phone.page.locator("[data-figure-play]:enabled").wait_for()
    with read_session(phone.live.app.state.site.engine) as session:
        showing = session.get_one(PracticeShowing, int(action.split("/")[3]))
        return timeline_of(showing).key


def time_it(phone: Phone, case: str, trial: int, late: float) -> Timed:
    key = open_trial(phone, case, trial)
    phone.page.locator("[data-pad]").wait_for()
    start, stop = phone.page.evaluate(ROBOT, [key.start_ms, key.stop_ms + late])
    phone.page.locator("[data-asked]").wait_for()
    return Timed(start, stop, key)


def send(phone: Phone, faults: tuple[str, ...], valid: str) -> None:
    for kind in faults:
        phone.page.locator(f"input[name=fault][value={kind}]").check()
    phone.page.get_by_label(valid).check()
    with phone.page.expect_navigation(url="**/practice/attempts/*"):
        phone.page.get_by_role("button", name="Send, and see the key").click()


def attempts(phone: Phone) -> tuple[Attempt, ...]:
    with read_session(phone.live.app.state.site.engine) as session:
        return attempts_of(session, person_by(session, "student"))


def clean_trial(case: str) -> int:
    """The trial of a case of which the fewest showings have a fault."""
    return min(book().cases[case].trials, key=lambda plan: plan.wrong).number


@pytest.mark.quiet
def test_known_delays_come_back(open_phone: OpenPhone) -> None:
    """Bias and SD within the 95 % sampling error of ten; instants to 1 ms.

    Mean of n: 150 -/+ t(n-1) x 100 / root n; SD: 100 x root of chi2(n-1) / (n-1).
    """
    phone = open_phone("student")
    chance = random.Random(1)
    delays = [chance.gauss(BIAS, SD) for _ in range(TIMES)]
    truth = []
    for late in delays:
        did = time_it(phone, SHORT, clean_trial(SHORT), late)
        for _ in range(3):
            if did.slipped(late):  # not sent, and practised again
                did = time_it(phone, SHORT, clean_trial(SHORT), late)
        truth.append(did)
        send(phone, (), "It counts")
    told = attempts(phone)
    limits = limits_of_agreement([((a.taken_ms or 0) - a.key_ms) / 1000 for a in told])

    assert len(told) == TIMES
    for one, did in zip(told, truth, strict=True):
        assert one.start_off_ms is not None
        assert one.start_off_ms == pytest.approx(did.start - did.key.start_ms, abs=1)
        assert one.stop_off_ms == pytest.approx(did.stop - did.key.stop_ms, abs=1)
        assert abs(one.start_off_ms) <= OFF_AT_MOST
    late_by = [(a.stop_off_ms or 0) - d for a, d in zip(told, delays, strict=True)]
    assert max(abs(by) for by in late_by) <= OFF_AT_MOST
    assert limits is not None
    print(f"\nbias {limits.bias.value:.3f} s, SD {limits.sd:.3f} s")
    df = TIMES - 1
    around = stats.t.ppf(0.975, df) * SD / sqrt(TIMES)
    low, high = (SD * sqrt(stats.chi2.ppf(p, df) / df) for p in (0.025, 0.975))
    assert abs(limits.bias.value * 1000 - BIAS) <= around
    assert low <= limits.sd * 1000 <= high


def test_robot_that_ignores_the_arms_is_told(
    open_phone: OpenPhone, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It times to the millisecond, says nothing of the arms, and is told so."""
    phone = open_phone("student")
    trial = draw_next(monkeypatch, book().cases["stands_older"], "arms_used")
    time_it(phone, "stands_older", trial, 0)
    phone.axe("questions")
    phone.fits()
    send(phone, (), "It counts")

    missed = phone.page.locator("[data-fault=missed]").inner_text()
    assert "You missed" in missed
    assert "The arms helped in getting up" in missed
    assert "As the key." in phone.page.locator("main").inner_text()
    phone.axe("result")
    phone.fits()


def test_with_less_motion_the_lines_come_as_they_happen(open_phone: OpenPhone) -> None:
    """Stills and sentences in real time: the same pad times them."""
    phone = open_phone("student", reduced_motion="reduce")
    did = time_it(phone, SHORT, clean_trial(SHORT), 200)
    said = phone.page.locator("[data-figure-said]")
    assert said.is_visible()
    assert len(said.inner_text()) > 5
    send(phone, (), "It counts")

    (attempt,) = attempts(phone)
    assert attempt.key_ms == did.key.taken_ms
    assert attempt.stop_off_ms == pytest.approx(did.stop - did.key.stop_ms, abs=1)
    assert (attempt.stop_off_ms or 0) >= 150


def test_figure_has_to_move_before_anything_is_timed(open_phone: OpenPhone) -> None:
    phone = open_phone("student")
    open_trial(phone, SHORT, 1)
    pad = phone.page.locator("[data-pad]")
    pad.tap()
    phone.page.wait_for_timeout(500)
    pad.tap()

    said = phone.page.locator("form [data-said]")
    assert "had not begun to move" in said.inner_text()
    assert phone.page.locator("form[data-state=idle]").count() == 1
    assert (
        phone.page.evaluate(
            "Object.keys(localStorage).filter(k => k.startsWith('tapeline.run'))"
        )
        == []
    )


def test_stop_is_practised_and_survives_a_lost_network(
    open_phone: OpenPhone, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Pressed in time, kept without a network, sent once, and told beside the key."""
    phone = open_phone("student")
    page = phone.page
    trial = draw_next(monkeypatch, book().cases[SHORT], "help_given")
    key = open_trial(phone, SHORT, trial)
    page.locator("[data-safe]").tap()
    assert "nobody to make safe yet" in page.locator("form [data-said]").inner_text()
    due = safe_from(key)
    assert due is not None
    page.evaluate(
        "addEventListener('figure:began', (e) => { window.began = e.detail.origin; })"
    )
    page.locator("[data-figure-play]").tap()
    page.wait_for_timeout(due + 300)
    ahead = page.evaluate("performance.now() - (window.began ?? Infinity)")
    page.wait_for_timeout(max(0, due + 300 - ahead))
    page.locator("[data-safe]").tap()
    late = page.evaluate("performance.now() - window.began")
    page.locator("[data-asked]").wait_for()
    page.locator("input[name=fault][value=help_given]").check()
    page.get_by_label("Void: repeat it").check()
    with no_network(phone):
        page.get_by_role("button", name="Send, and see the key").tap()
        page.locator("[data-practice-kept]").wait_for()
        phone.fits()
        (kept,) = on_disk(phone)
        assert kept["round"] == page.locator("form[data-practice]").evaluate(
            "form => new URL(form.action).pathname.slice(1).replace('/attempt', '')"
        )
    page.wait_for_url("**/practice/attempts/*", timeout=20_000)
    assert "Right: a hand had to be laid on" in page.locator("main").inner_text()
    assert on_disk(phone) == []
    with read_session(phone.live.app.state.site.engine) as session:
        (row,) = session.exec(select(PracticeAttempt)).all()
        assert row.key_safe_ms == due
        assert row.made_safe_ms is not None
        assert due + 300 <= row.made_safe_ms <= late

    phone.goto(f"/practice/{SHORT}/1")
    with no_network(phone):
        page.get_by_text("a new trial cannot begin").wait_for()
    forgive(phone)


@pytest.mark.parametrize("look", list(LOOKS))
def test_pages_are_accessible_and_fit(open_phone: OpenPhone, look: str) -> None:
    phone = open_phone("student", **LOOKS[look])
    for path in ("/practice", f"/practice/{SHORT}/1"):
        phone.goto(path)
        phone.axe(f"{look} {path}")
        phone.fits()
    for case in (SHORT, "half_minute_older", "reach_older", "squares_older"):
        open_trial(phone, case, 1)
        phone.axe(f"{look} {case}")
        phone.fits()
    phone.goto(f"/practice/{SHORT}/1")
    with phone.page.expect_navigation():
        phone.page.get_by_role("button", name="Read it in words").click()
    phone.axe(f"{look} words")
    phone.fits()
    phone.page.get_by_label("Time of the trial in seconds").fill("5.5")
    send(phone, (), "Void: repeat it")
    phone.axe(f"{look} result")
    phone.fits()
