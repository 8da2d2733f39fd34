"""axe-core on the pages of patients, visits and the desk; nothing pushes sideways."""

from datetime import timedelta

import pytest

from app.storage.database import write_session
from app.storage.episodes import open_episode
from app.storage.patients import Patient
from app.storage.trials import TrialBody
from app.web.deps import Site
from app.web.judging import keep
from tests.conftest import person_by
from tests.journeys.conftest import OpenPhone, Phone
from tests.journeys.deeds import STANDS, open_round
from tests.make import make_round, make_trial, make_visit

PAGES = (
    "/desk", "/desk/table", "/desk/summary", "/patients/find", "/audit",
    "/caseload/import", "/exports", "/exports/left-out", "/patients/1/exports",
    "/patients/1/edit", "/patients/1/precautions",
    "/patients/1/episodes", "/patients/1/people", "/patients/1/profile",
    "/patients/1/record", "/patients/1/visits", "/patients/1", "/patients/1/measures",
    "/patients/1/pathways", "/patients/1/pathways/cdc", "/patients/1/pathways/nice2025",
    "/activities", "/activities/S02", "/activities/evidence", "/patients/1/doses",
    "/patients/1/fhir",
    "/patients/1/episodes/1/picture",
)  # fmt: skip
LOOKS: dict[str, dict[str, object]] = {
    "phone": {},
    "dark": {"color_scheme": "dark"},
    "320 px": {"viewport": {"width": 320, "height": 640}},
    "desktop": {"viewport": {"width": 1280, "height": 800}, "is_mobile": False},
}


#: Ways on that stand alone in their block and are lower than a thumb needs; a link
#: within a sentence may be as high as its line.
LOW = """() => [...document.querySelectorAll("main :is(a[href], button), summary")]
  .filter((at) => at.getClientRects().length && at.getBoundingClientRect().height < 44
    && at.parentElement.textContent.trim() === at.textContent.trim())
  .map((at) => at.outerHTML.slice(0, 120))"""


def sound(phone: Phone, where: str) -> None:
    phone.axe(where)
    phone.fits()
    assert phone.page.evaluate(LOW) == [], where


@pytest.mark.parametrize("look", list(LOOKS))
def test_pages_of_a_supervisor(
    open_phone: OpenPhone, patient_id: int, look: str
) -> None:
    phone = open_phone("supervisor", **LOOKS[look])
    assert patient_id == 1
    for path in PAGES:
        phone.goto(path)
        sound(phone, f"{look} {path}")


@pytest.mark.parametrize("look", list(LOOKS))
def test_visit_with_everything_open(
    open_phone: OpenPhone, patient_id: int, look: str
) -> None:
    phone = open_phone(**LOOKS[look])
    phone.goto(f"/patients/{patient_id}")
    with phone.page.expect_navigation():
        phone.page.get_by_role("button", name="Start a visit").click()
    phone.page.evaluate(
        "document.querySelectorAll('main details').forEach(d => { d.open = true; })"
    )
    sound(phone, f"{look} visit")
    phone.goto("/cover")
    sound(phone, f"{look} cover")


def test_text_at_200_per_cent_on_the_narrowest_phone(
    open_phone: OpenPhone, patient_id: int
) -> None:
    phone = open_phone(viewport={"width": 320, "height": 640})
    five_weeks(phone.live.app.state.site, patient_id)
    paths = ("/caseload", f"/patients/{patient_id}",
             f"/patients/{patient_id}/measures/{STANDS}/ready")  # fmt: skip
    for path in paths:
        phone.goto(path)
        phone.page.evaluate("document.documentElement.style.fontSize = '200%'")
        phone.fits()
        small = phone.page.locator(".tape.mini").count()
        assert small or path.endswith("/ready"), f"no small tape on {path}"
    open_round(phone, patient_id, STANDS)


def five_weeks(site: Site, patient_id: int) -> int:
    """A test a week, unable first, and on the last day two more; that day's visit."""
    with write_session(site.engine) as session:
        owner = person_by(session, "therapist")
        patient = session.get_one(Patient, patient_id)
        episode = open_episode(session, patient)
        for week, seconds in enumerate((None, 20.0, 19.4, 18.8, 18.1)):
            now = site.clock() - timedelta(weeks=4 - week)
            visit = make_visit(session, owner, episode, now=now)
            last = ["turn_360", "four_square_step"] if week == 4 else []
            for measure in (STANDS, *last):
                round = make_round(
                    session, owner, visit, measure=measure, variant="", now=now
                )
                body = TrialBody(outcome="unable", reason="pain")
                if seconds:
                    body = TrialBody(raw_ms=int(seconds * 1000))
                make_trial(session, owner, round, body, now=now)
                keep(session, site.catalogue, patient, round, now=now)
        return visit.id


@pytest.mark.parametrize("look", list(LOOKS))
def test_history_and_picture(open_phone: OpenPhone, patient_id: int, look: str) -> None:
    phone = open_phone(**LOOKS[look])
    visit_id = five_weeks(phone.live.app.state.site, patient_id)
    for path, drawn in (
        (f"/patients/{patient_id}/measures/{STANDS}", "svg.time line.slope"),
        (f"/visits/{visit_id}/picture", "svg.tape"),
        (f"/patients/{patient_id}/episodes/1/picture", "svg.care .latest"),
    ):
        phone.goto(path)
        assert phone.page.locator(drawn).count()
        sound(phone, f"{look} {path}")
        phone.page.evaluate("document.documentElement.style.fontSize = '200%'")
        phone.fits()


@pytest.mark.parametrize("look", list(LOOKS))
def test_choosing_with_everything_open(
    open_phone: OpenPhone, patient_id: int, look: str
) -> None:
    phone = open_phone(**LOOKS[look])
    phone.goto(f"/patients/{patient_id}/measures")
    with phone.page.expect_navigation():
        phone.page.get_by_role("button", name="stands with help").click()
    phone.page.evaluate(
        "document.querySelectorAll('main details').forEach(d => { d.open = true; })"
    )
    assert phone.page.get_by_text("needs a walk of 3 m").first.is_visible()
    sound(phone, f"{look} choosing")
