"""A student's whole path on the demo, as a newcomer finds it, to the first sign-off.

They follow the one button of "What comes next". The first trials are practised on the
real page, its clock sped up; a robot presses the rest through the same forms. Nothing
is written into a table.
"""

import socket
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from playwright.sync_api import Browser, BrowserContext, Page, expect
from sqlmodel import col, select

from app.commands.demo import fill_demo
from app.main import create_app
from app.practice.case import Key
from app.settings import Settings
from app.storage.database import read_session
from app.storage.people import Person
from app.storage.practice import PracticeAttempt, PracticeShowing
from app.storage.review import ReviewDecision, VisitText
from app.web.practice_book import book, timeline_of
from tests.conftest import found, person_by
from tests.journeys.conftest import PHONE, Live
from tests.journeys.test_notes import leave, open_line
from tests.make import new_uid
from tests.web.test_practice import BY_SCRIPT

TUG, REACH = "timed_up_and_go", "functional_reach"
WATCHED, ASKED = 4, 20
#: Where twenty showings held fewer faults than are judged: so many more, and at most.
MORE, MOST = 4, 40
SKILL = "Guarded at the belt; the mark was moved back after one heel rose."
BETTER = "Verbal cues, three, to keep both heels down."
DESK = {"viewport": {"width": 1280, "height": 800}}
THUMB = {"viewport": PHONE, "has_touch": True, "is_mobile": True}


@pytest.fixture
def demo(tmp_path: Path) -> Iterator[Live]:
    """The demo site as it is started, of this moment."""
    app = create_app(Settings(data_dir=tmp_path, database_url="", demo=True))
    fill_demo(app.state.site)
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    live = Live(app, port)
    live.start()
    yield live
    live.stop()


Enter = Callable[..., Page]


@pytest.fixture
def enter(browser: Browser, demo: Live) -> Iterator[Enter]:
    """From the start page by one tap; nothing may complain."""
    opened: list[BrowserContext] = []
    complaints: list[str] = []

    def as_who(who: str, look: dict[str, object]) -> Page:
        context = browser.new_context(**look, base_url=demo.url)  # type: ignore[arg-type]
        opened.append(context)
        page = context.new_page()
        page.on("pageerror", lambda e: complaints.append(str(e)))
        page.on(
            "console",
            lambda m: complaints.append(m.text) if m.type == "error" else None,
        )
        page.goto("/")
        with page.expect_navigation():
            page.get_by_role("button", name=f"Enter as {who}", exact=True).click()
        return page

    yield as_who
    for context in opened:
        context.close()
    assert complaints == []


def follow(page: Page, stage: str) -> None:
    """The one button, which is for this stage now."""
    page.goto("/caseload")
    path = page.locator("#path")
    expect(path).to_have_attribute("data-stage", stage)
    with page.expect_navigation():
        path.get_by_role("link").tap()


def stage_of(page: Page) -> str | None:
    """What the student's list says comes next."""
    page.goto("/caseload")
    return page.locator("#path").get_attribute("data-stage")


def key_of_page(demo: Live, page: Page) -> Key:
    """The key of what the page shows, which the page itself has not."""
    form = page.locator("form[data-practice]")
    action = form.get_attribute("action") or ""
    return key_of(demo.app, int(action.split("/")[3]))


def key_of(app: FastAPI, showing: int) -> Key:
    with read_session(app.state.site.engine) as session:
        return timeline_of(session.get_one(PracticeShowing, showing)).key


def watches(demo: Live, page: Page) -> None:
    """One trial by touch, as timed by a steady thumb; then back by "All practice"."""
    with page.expect_response("**/practice/*/*"):
        page.get_by_role("button", name="Watch and time it").tap()
    page.locator("[data-figure-play]:enabled").wait_for()
    page.locator("[data-pad]").wait_for()
    key = key_of_page(demo, page)
    page.clock.pause_at(page.evaluate("Date.now()") / 1000 + 30)  # in seconds
    page.evaluate(
        "addEventListener('figure:began', (e) => { window.began = e.detail.origin; })"
    )
    page.locator("[data-figure-play]").tap()
    page.clock.run_for(50)
    for at in (key.start_ms, key.stop_ms):
        gone = page.evaluate("performance.now() - window.began")
        page.clock.run_for(at - gone)
        page.locator("[data-pad]").dispatch_event(
            "pointerdown", {"isPrimary": True, "button": 0, "pointerId": 1}
        )
    page.clock.run_for(600)
    page.clock.resume()
    for fault in key.faults:
        page.locator(f"input[name=fault][value={fault.kind}]").check()
    page.get_by_label("It counts" if key.valid else "Void: repeat it").check()
    with page.expect_navigation(url="**/practice/attempts/*"):
        page.get_by_role("button", name="Send, and see the key").tap()
    expect(page.locator("main")).to_contain_text("As the key.")


def robot(demo: Live, context: BrowserContext, n: int) -> None:
    """So many more trials through the forms of the pages, 80 ms late at the stop."""
    trials = [
        f"/practice/{case.id}/{plan.number}"
        for case in book().cases.values()
        if case.measure == TUG
        for plan in case.trials
    ]
    same = {"sec-fetch-site": "same-origin"}
    for i in range(n):
        begun = context.request.post(
            trials[i % len(trials)], headers=same | BY_SCRIPT,
            form={"uid": new_uid(), "way": "watch"},
        )  # fmt: skip
        action = found(begun.text(), "form[data-practice]").attributes["action"]
        showing = str(action).split("/")[3]
        key = key_of(demo.app, int(showing))
        kinds = sorted({fault.kind for fault in key.faults})
        body = [f"start_ms={key.start_ms}", f"stop_ms={key.stop_ms + 80}",
                f"valid={'yes' if key.valid else 'no'}"]  # fmt: skip
        sent = context.request.post(
            f"/practice/showings/{showing}/attempt", max_redirects=0,
            headers=same | {"content-type": "application/x-www-form-urlencoded"},
            data="&".join([*body, *(f"fault={kind}" for kind in kinds)]),
        )  # fmt: skip
        assert sent.status == 303, sent.text()


def practises(demo: Live, page: Page) -> None:
    fast = page.context.new_page()
    fast.clock.install()
    for _ in range(WATCHED):
        follow(fast, "practise")
        watches(demo, fast)
    fast.close()
    robot(demo, page.context, ASKED - WATCHED)
    done = ASKED
    while stage_of(page) == "practise":  # chance has shown too few faults so far
        assert done < MOST, page.locator("#path").inner_text()
        robot(demo, page.context, MORE)
        done += MORE
    follow(page, "share")
    with page.expect_navigation():
        page.get_by_role("button", name=f"Share {done} more").tap()
    expect(page.locator("main")).to_contain_text("reach everything")


def visits(page: Page) -> str:
    """A test and the door; the visit's address."""
    follow(page, "visit")
    patient = page.url
    page.get_by_role("button", name="Start a visit").tap()
    page.wait_for_url("**/visits/*")
    visit = page.url
    page.goto(f"{patient}/measures/{REACH}/ready")
    with page.expect_navigation():
        page.locator("button[form=ready]").tap()
    page.wait_for_selector("form[data-outbox]:not([data-busy]) #distance")
    page.fill("#distance", "9.5")
    page.get_by_role("button", name="Save this reach").tap()
    page.locator(".value, .trials").first.wait_for()
    follow(page, "open")
    assert page.url == visit
    page.get_by_role("button", name="I checked all of these").tap()
    expect(page.locator("#exit-saved")).to_contain_text("Still open")
    page.locator("label:has([name=exit-hand_off][value=nurse])").tap()
    page.locator("label:has([name=exit-strip][value=removed])").tap()
    expect(page.locator("#exit-saved")).to_contain_text("whole list is answered")
    page.wait_for_timeout(700)  # a second tap sooner is taken for a double tap
    with page.expect_navigation():
        page.get_by_role("button", name="Close; then hand it in").tap()
    return visit


def hands_in(page: Page, words: str) -> None:
    line = open_line(page, "took a therapist's skill" if words == SKILL else SKILL)
    page.fill(f"{line} textarea", words)
    leave(page)
    expect(page.locator(f"{line} [data-said]")).to_contain_text("Saved")
    with page.expect_navigation():
        page.get_by_role("button", name="Hand in for co-signature").tap()
    expect(page.locator("main")).to_contain_text("Not valid until co-signed")


def returns(page: Page, visit: str) -> None:
    page.goto(f"{visit}/review")
    line = page.locator(".lines li", has_text=SKILL)
    line.get_by_text("Comment", exact=True).click()
    line.get_by_label("Comment on this line").fill("How many cues?")
    with page.expect_navigation():
        line.get_by_role("button", name="Add").click()
    page.get_by_label("Your own statement").fill("Say which cues.")
    with page.expect_navigation():
        page.get_by_role("button", name="Return for change").click()


def signs(page: Page, visit: str, who: int) -> None:
    """The note, then the test."""
    page.goto(f"{visit}/review")
    page.get_by_label("Your own statement").fill("I decided on the mark.")
    page.get_by_text("in the room the whole time").first.click()
    with page.expect_navigation():
        page.get_by_role("button", name="Co-sign", exact=True).click()
    page.goto("/practice/agreement")
    with page.expect_navigation():
        page.locator("section", has_text="People").last.get_by_role(
            "link", name="Demo new student"
        ).click()
    assert page.url.endswith(f"/practice/people/{who}")
    page.locator("summary", has_text="Sign off").first.click()
    with page.expect_navigation():
        page.get_by_role("button", name="Sign off").click()


def test_from_nothing_to_a_co_signed_note_and_a_signed_off_test(
    demo: Live, enter: Enter
) -> None:
    page = enter("new student", THUMB)
    practises(demo, page)
    visit = visits(page)
    follow(page, "unwritten")
    hands_in(page, SKILL)
    follow(page, "waits")

    desk = enter("supervisor", DESK)
    expect(desk.locator("main")).to_contain_text("co-sign")
    returns(desk, visit)
    page.goto("/caseload")
    expect(page.locator("#path")).to_contain_text("came back with 1 comment")
    follow(page, "returned")
    with page.expect_navigation():
        page.get_by_role("link", name="Read the comments").tap()
    expect(page.locator("main")).to_contain_text("How many cues?")
    follow(page, "returned")
    hands_in(page, BETTER)
    follow(page, "waits")

    with read_session(demo.app.state.site.engine) as session:
        who = person_by(session, "demo-new-student").id
    signs(desk, visit, who)
    page.goto(f"{visit}/notes/visit")
    expect(page.locator("main")).to_contain_text("Co-signed by Demo supervisor")
    page.goto("/practice/progress")
    expect(page.locator("main")).to_contain_text("Signed off")
    follow(page, "signed")
    whole_record(demo, who)


def whole_record(demo: Live, who: int) -> None:
    """What is kept of it, and nothing else: no practised trial is anybody's score."""
    with read_session(demo.app.state.site.engine) as session:
        texts = session.exec(
            select(VisitText)
            .where(VisitText.author_id == who)
            .order_by(col(VisitText.id))
        ).all()
        made = [
            session.exec(select(ReviewDecision).where(ReviewDecision.text_id == t.id))
            .one()
            .decision
            for t in texts
        ]
        sent = session.exec(
            select(PracticeAttempt).where(PracticeAttempt.person_id == who)
        ).all()
        assert session.get_one(Person, who).name == "Demo new student"
    assert made == ["returned", "co_signed"]
    assert len(sent) in range(ASKED, MOST + 1, MORE)
    assert all(a.stays_shared for a in sent)
