"""A student's whole path: practice, a visit, its note, the review, the signatures.

One trial is practised and shared on the page; the rest of those that a sign-off asks
for are stored as the page would have stored them, since each takes its real time.
"""

import pytest
from playwright.sync_api import expect

from app.storage.competence import CompetenceSignOff
from app.storage.database import read_session, write_session
from app.storage.patients import Patient
from app.storage.responsible import assign
from app.storage.review import ReviewDecision, VisitText
from app.storage.trials import Trial
from app.web.deps import Site
from app.web.practised import key_edition
from tests.conftest import person_by
from tests.journeys.conftest import OpenPhone, Phone
from tests.journeys.deeds import forgive, open_round, reach
from tests.journeys.test_notes import leave, open_line
from tests.journeys.test_practice import SHORT, clean_trial, send, time_it
from tests.make import PASSPHRASE
from tests.make_practice import practise_well
from tests.web.test_visits import rows

REACH = "functional_reach"
DESK = {"viewport": {"width": 1280, "height": 800}, "is_mobile": False}
SKILL = "Guarded at the belt; the mark was moved back after one heel rose."
BETTER = "Verbal cues, three, to keep both heels down."


@pytest.fixture
def student(open_phone: OpenPhone, site: Site, patient_id: int) -> Phone:
    """A student's phone; the therapist has let them look after the patient."""
    with write_session(site.engine) as session:
        owner, learner = person_by(session, "therapist"), person_by(session, "student")
        patient = session.get_one(Patient, patient_id)
        assign(session, owner, patient, learner, now=site.clock())
    return open_phone("student")


def practises(student: Phone, site: Site) -> None:
    time_it(student, SHORT, clean_trial(SHORT), 0)
    send(student, (), "It counts")
    student.page.get_by_role("button", name="Share it with supervisors").tap()
    expect(student.page.locator("#share")).to_contain_text("Shared with supervisors")
    with write_session(site.engine) as session:
        practise_well(session, person_by(session, "student"), key_edition(), 20)
    student.goto("/practice/progress")
    expect(student.page.locator("main")).to_contain_text("reach everything")


def visits(student: Phone, patient_id: int) -> str:
    """A test and the door; the visit's address."""
    page = student.page
    student.goto(f"/patients/{patient_id}")
    page.get_by_role("button", name="Start a visit").tap()
    page.wait_for_url("**/visits/*")
    visit = page.url
    open_round(student, patient_id, REACH)
    reach(student, "9.5")
    page.locator(".value, .trials").first.wait_for()
    page.goto(visit)
    page.get_by_role("button", name="I checked all of these").tap()
    expect(page.locator("#exit-saved")).to_contain_text("Still open")
    page.locator("label:has([name=exit-hand_off][value=nurse])").tap()
    page.locator("label:has([name=exit-strip][value=removed])").tap()
    expect(page.locator("#exit-saved")).to_contain_text("whole list is answered")
    page.wait_for_timeout(700)  # a second tap sooner is taken for a double tap
    with page.expect_navigation():
        page.get_by_role("button", name="Close; then hand it in").tap()
    return visit


def hands_in(student: Phone, visit: str, words: str) -> None:
    page = student.page
    page.goto(f"{visit}/notes/visit")
    line = open_line(page, "took a therapist's skill" if words == SKILL else SKILL)
    page.fill(f"{line} textarea", words)
    leave(page)
    expect(page.locator(f"{line} [data-said]")).to_contain_text("Saved")
    with page.expect_navigation():
        page.get_by_role("button", name="Hand in for co-signature").tap()
    expect(page.locator("main")).to_contain_text("Not valid until co-signed")


def test_from_nothing_to_a_co_signed_note_and_a_signed_off_test(
    student: Phone, open_phone: OpenPhone, site: Site, patient_id: int
) -> None:
    practises(student, site)
    visit = visits(student, patient_id)
    hands_in(student, visit, SKILL)

    desk = open_phone("supervisor", **DESK)
    page = desk.page
    page.goto(f"{visit}/review")
    line = page.locator(".lines li", has_text=SKILL)
    line.get_by_text("Comment", exact=True).click()
    line.get_by_label("Comment on this line").fill("How many cues?")
    with page.expect_navigation():
        line.get_by_role("button", name="Add").click()
    page.get_by_label("Your own statement").fill("Say which cues.")
    with page.expect_navigation():
        page.get_by_role("button", name="Return for change").click()

    student.goto("/caseload")
    expect(student.page.locator("main")).to_contain_text("Returned")
    student.page.goto(f"{visit}/review")
    expect(student.page.locator("main")).to_contain_text("How many cues?")
    hands_in(student, visit, BETTER)

    page.goto(f"{visit}/review")
    page.get_by_label("Your own statement").fill("I decided on the mark.")
    page.get_by_text("in the room the whole time").first.click()
    page.get_by_label("Your own passphrase").fill(PASSPHRASE)
    with page.expect_navigation():
        page.get_by_role("button", name="Co-sign", exact=True).click()
    student.page.goto(f"{visit}/notes/visit")
    expect(student.page.locator("main")).to_contain_text("Co-signed by Supervisor")
    expect(student.page.locator("main")).not_to_contain_text("Not valid")

    with read_session(site.engine) as session:
        learner = person_by(session, "student").id
    page.goto(f"{student.live.url}/practice/people/{learner}")
    page.locator("summary", has_text="Sign off").first.click()
    form = page.locator("form[action$=sign-off]").first
    form.get_by_label("Your own passphrase").fill(PASSPHRASE)
    with page.expect_navigation():
        form.get_by_role("button", name="Sign off").click()
    student.goto("/practice/progress")
    expect(student.page.locator("main")).to_contain_text("Signed off")

    assert [t.kind for t in rows(site, VisitText)] == ["handed_in", "handed_in"]
    assert [d.decision for d in rows(site, ReviewDecision)] == ["returned", "co_signed"]
    assert len(rows(site, CompetenceSignOff)) == 1
    assert len(rows(site, Trial)) == 1
    forgive(student)
