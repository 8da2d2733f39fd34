"""Two phones, one stopwatch: the helper's clock is 3.4 s off and its way is slow.

Each touch goes in with the time it was made, so that the true time between two of them
is known, whichever phone they were on.
"""

import time
from collections.abc import Callable
from datetime import datetime

import pytest
from playwright.sync_api import Route
from sqlmodel import select

from app.clinical.two_clocks import DOUBTFUL_MS
from app.storage.database import read_session, write_session
from app.storage.episodes import open_episode
from app.storage.patients import Patient
from app.storage.responsible import assign
from app.storage.round_help import HelpPress
from app.storage.trials import Trial
from tests.conftest import person_by
from tests.journeys.conftest import OpenPhone, Phone
from tests.journeys.deeds import forgive, says, sign_in_again, trials
from tests.journeys.test_timing import Finger
from tests.make import make_round, make_visit

pytestmark = pytest.mark.quiet

#: The time a touch is stamped with, which the page reads to a tenth of a millisecond.
TOUCH_MS = 5
RUNS_S = 1.2
SLOW_S = 0.04
AHEAD = """() => {
  const [now, day] = [performance.now.bind(performance), Date.now];
  const { get } = Object.getOwnPropertyDescriptor(Event.prototype, "timeStamp");
  performance.now = () => now() + 3400;
  Date.now = () => day() + 3400;
  Object.defineProperty(Event.prototype, "timeStamp",
    { get() { return get.call(this) + 3400; } });
}"""
#: As when the screen goes dark, and is woken again.
DARK = """dark => {
  Object.defineProperty(document, "hidden", { value: dark, configurable: true });
  document.dispatchEvent(new Event("visibilitychange"));
}"""
DARK_MS = 2_500
HELD = "single_leg_stance"


def _slowly(route: Route) -> None:
    """All of the delay on the way there: the worst case for the offset."""
    time.sleep(SLOW_S)
    route.continue_()


@pytest.fixture
def pair(
    open_phone: OpenPhone, patient_id: int, today: datetime
) -> tuple[Finger, Finger]:
    """The therapist's phone with a round that is open for help; a colleague joins."""
    owner, helper = open_phone(), open_phone("colleague")
    site = owner.live.app.state.site
    with write_session(site.engine) as session:
        therapist = person_by(session, "therapist")
        patient = session.get_one(Patient, patient_id)
        assign(session, therapist, patient, person_by(session, "colleague"), now=today)
        visit = make_visit(
            session, therapist, open_episode(session, patient), now=today
        )
        round = make_round(session, therapist, visit, measure=HELD, now=today)
        path = f"/rounds/{round.id}"
    owner.goto(path)
    owner.follow(owner.page.get_by_role("button", name="Second phone"))
    helper.context.add_init_script(f"({AHEAD})()")
    for asked in ("now*", "presses"):  # each compares the clocks
        helper.page.route(f"**/help/{asked}", _slowly)
    helper.goto(f"/patients/{patient_id}")
    helper.follow(helper.page.get_by_role("link", name="Help with this test"))
    helper.axe("joining")
    helper.follow(helper.page.get_by_role("button", name="Join with this phone"))
    says(owner, "[data-helping-who]", "Colleague helps on another phone.")
    return _finger(owner), _finger(helper)


def _finger(phone: Phone) -> Finger:
    return Finger(phone, phone.context.new_cdp_session(phone.page))


def _ready(finger: Finger) -> None:
    finger.phone.page.locator("[data-state=idle] [data-pad]:visible").wait_for()


def _kept(phone: Phone, number: int) -> Trial:
    """The trial with this place, once it is stored."""
    for _ in range(100):
        found = trials(phone)
        if len(found) >= number:
            assert len(found) == number
            return found[-1]
        if phone.page.locator("[data-confirm]:enabled").is_visible():  # a slow machine
            phone.page.locator("[data-confirm]").tap()
        phone.page.wait_for_timeout(100)
    asked = phone.page.locator("[data-why]").inner_text()
    raise AssertionError(f"not stored in ten seconds: {asked}")


def _timed(start: Finger, stop: Finger, other: Finger) -> float:
    """One trial by these two; the true time between the touches."""
    _ready(start)
    _ready(other)
    began = start.touch()
    for finger in {id(f): f for f in (start, stop, other)}.values():
        finger.phone.page.locator("[data-state=running] [data-pad]").wait_for()
    start.phone.page.wait_for_timeout(1000 * RUNS_S)
    return stop.touch() - began


def test_time_of_two_phones_is_within_its_bound(
    pair: tuple[Finger, Finger], record_property: Callable[[str, object], None]
) -> None:
    owner, helper = pair
    lines = []
    for number, (start, stop) in enumerate(
        [(helper, helper), (helper, owner), (owner, helper)], 1
    ):
        true = _timed(start, stop, owner if start is helper else helper)
        trial = _kept(owner.phone, number)
        kept = trial.clocks["helped"]
        assert trial.raw_ms is not None
        off, bound = trial.raw_ms - true, kept["bound_ms"]
        lines.append(f"{kept['pressed']} off {off:+.1f} ms, bound {bound:.1f} ms")
        record_property("second phone", lines[-1])

        assert abs(off) <= bound + TOUCH_MS, lines
        assert (bound == 0) is (start is stop), lines
        assert start is stop or bound >= SLOW_S * 500, lines
        assert kept["doubtful"] is (bound > DOUBTFUL_MS), lines
    print(*lines, sep="\n")

    assert [t.recorded_by for t in trials(owner.phone)] == [trial.recorded_by] * 3
    for words in (
        "start and stop by helper's phone: one clock (Colleague)",
        "start by owner's phone, stop by helper's phone, +/- 0.",
    ):
        says(owner.phone, "#work .trials", words)
    says(helper.phone, "[data-link]", "The help has ended")
    with read_session(owner.phone.live.app.state.site.engine) as session:
        assert session.exec(select(HelpPress)).all() == []


def _started_by(helper: Finger, owner: Finger) -> float:
    """When it was touched there; the owner's phone has heard of it."""
    _ready(helper)
    _ready(owner)
    began = helper.touch()
    owner.phone.page.locator("[data-state=running] [data-pad]").wait_for()
    return began


def test_owner_who_hears_late_of_a_start_stores_what_ran(
    pair: tuple[Finger, Finger],
) -> None:
    """That phone lay dark, and on waking it knows nothing of the other's clock."""
    owner, helper = pair
    _ready(helper)
    _ready(owner)
    says(helper.phone, "[data-link]", "Linked to Tapeline.")
    owner.phone.page.evaluate(DARK, True)
    owner.phone.page.wait_for_timeout(300)  # what was asked before is answered
    began = helper.touch()
    helper.phone.page.locator("[data-state=running] [data-pad]").wait_for()
    owner.phone.page.wait_for_timeout(DARK_MS)
    assert owner.phone.page.locator("[data-state=idle] [data-pad]").is_visible()
    owner.phone.page.evaluate(DARK, False)
    owner.phone.page.locator("[data-state=running] [data-pad]").wait_for()
    owner.phone.page.wait_for_timeout(1000 * RUNS_S)
    true = owner.touch() - began
    trial = _kept(owner.phone, 1)

    assert true > DARK_MS
    assert trial.raw_ms is not None
    assert abs(trial.raw_ms - true) <= trial.clocks["helped"]["bound_ms"] + TOUCH_MS


def test_link_cut_in_the_middle_costs_nothing(pair: tuple[Finger, Finger]) -> None:
    owner, helper = pair
    began = _started_by(helper, owner)
    helper.phone.context.set_offline(True)
    says(helper.phone, "[data-link]", "No link - the other phone's clock still runs.")
    ended = owner.touch()
    trial = _kept(owner.phone, 1)
    helper.touch()  # not knowing
    says(helper.phone, "[data-link]", "No link to the other phone.")
    says(helper.phone, "[data-said]", "Your stop waits to be sent")
    helper.phone.context.set_offline(False)

    assert trial.raw_ms is not None
    bound = trial.clocks["helped"]["bound_ms"]
    assert abs(trial.raw_ms - (ended - began)) <= bound + TOUCH_MS
    says(helper.phone, "[data-said]", "Already stopped by Therapist.")
    forgive(helper.phone)
    assert [t.raw_ms for t in trials(owner.phone)] == [trial.raw_ms]


def test_helper_who_is_signed_out_in_the_middle_is_told_and_loses_no_stop(
    pair: tuple[Finger, Finger],
) -> None:
    """The question for the passphrase waits until the clock does not run here."""
    owner, helper = pair
    began = _started_by(helper, owner)
    helper.phone.context.clear_cookies()
    says(helper.phone, "[data-link]", "You are signed out here.")
    asked = helper.phone.page.locator("dialog[data-sign-in]")
    helper.phone.page.wait_for_timeout(1000 * RUNS_S)
    hidden_while_it_ran = not asked.is_visible()
    true = helper.touch() - began
    sign_in_again(helper.phone, "colleague")
    trial = _kept(owner.phone, 1)

    assert hidden_while_it_ran
    assert trial.raw_ms is not None
    assert abs(trial.raw_ms - true) <= TOUCH_MS
    assert trial.clocks["helped"]["pressed"] == {"start": "helper", "stop": "helper"}
    forgive(helper.phone, "401")
