"""A locked session: it shows nobody, takes trials, and opens to one passphrase."""

import re
from collections.abc import Callable, Iterator
from uuid import uuid4

import pytest
from fastapi import FastAPI
from sqlmodel import col, select
from starlette.testclient import TestClient

from app.resources import folder
from app.settings import Settings
from app.storage.audit import AuditEntry
from app.storage.database import read_session, write_session
from app.storage.held_requests import HeldRequest
from app.storage.people import SignIn
from app.storage.scores import Score
from app.storage.trials import Trial
from app.web.deps import Site
from app.web.unattended import POLLED
from tests.conftest import Clock, client_of, found, running
from tests.make import PASSPHRASE, make_person
from tests.web.bedside import a_round, send

HTMX = {"hx-request": "true"}
STANDS = "five_times_sit_to_stand"
LABEL = "Blue 7"


@pytest.fixture
def round_url(therapist: TestClient, patient_id: int) -> str:
    """A round of a session that was then locked."""
    url = a_round(therapist, patient_id, STANDS)
    assert therapist.post("/lock", headers=HTMX).status_code == 204
    return url


def trials(site: Site) -> list[Trial]:
    with read_session(site.engine) as session:
        return list(session.exec(select(Trial)))


PAGES = [
    "/caseload",
    "/patients/1",
    "/patients/new",
    "/patients/1/measures",
    f"/patients/1/measures/{STANDS}",
    f"/patients/1/measures/{STANDS}/ready",
    "/rounds/1",
    "/held",
]


@pytest.mark.parametrize("path", PAGES)
def test_locked_page_shows_only_the_lock(
    therapist: TestClient, round_url: str, path: str
) -> None:
    assert round_url == "/rounds/1"
    page, part = therapist.get(path), therapist.get(path, headers=HTMX)

    assert (page.status_code, part.status_code) == (423, 423)
    assert found(page.text, "form[action='/unlock'] #passphrase")
    assert found(page.text, "[name=next]").attributes["value"] == path
    assert part.text.lstrip().startswith('<div class="problem">')
    for text in (page.text, part.text):
        assert LABEL not in text


@pytest.mark.parametrize("headers", [{}, HTMX], ids=["page", "htmx"])
def test_locked_session_stores_a_trial_and_says_no_more(
    therapist: TestClient, site: Site, round_url: str, headers: dict[str, str]
) -> None:
    data = {"uid": uuid4().hex, "raw_ms": "16249"}
    answer = therapist.post(f"{round_url}/trials", data=data, headers=headers)

    assert answer.status_code == 200
    assert "Stored" in found(answer.text, "#work h1").text()
    assert found(answer.text, "[data-saved]").attributes["data-saved"] == data["uid"]
    assert ("<html" in answer.text) is (not headers)
    for told in (LABEL, "16.2", "In the range"):
        assert told not in answer.text
    assert [t.raw_ms for t in trials(site)] == [16249]
    with read_session(site.engine) as session:
        assert session.exec(select(Score.value)).one() == "16.2"


def test_locked_stop_says_how_to_make_safe(
    therapist: TestClient, site: Site, round_url: str
) -> None:
    answer = send(therapist, round_url, outcome="stopped")

    assert "Call for help" in answer.text
    assert "local fall procedure" in answer.text
    assert LABEL not in answer.text
    assert [t.outcome for t in trials(site)] == ["stopped"]


@pytest.mark.parametrize("headers", [{}, HTMX], ids=["page", "htmx"])
def test_bad_trial_tells_nothing_when_locked(
    therapist: TestClient, site: Site, round_url: str, headers: dict[str, str]
) -> None:
    answer = therapist.post(f"{round_url}/trials", data={"typed": "x"}, headers=headers)

    assert answer.status_code == 423
    assert LABEL not in answer.text
    assert trials(site) == []


@pytest.mark.parametrize(
    "path",
    ["/trials/1/void", "/trials/1/safety", "/trials/1/seen", "/patients/new",
     f"/patients/1/measures/{STANDS}/ready", "/held/1/discard"],
)  # fmt: skip
def test_other_deeds_wait_for_the_passphrase(
    therapist: TestClient, round_url: str, path: str
) -> None:
    assert round_url
    assert therapist.post(path, data={"a": "1"}, headers=HTMX).status_code == 423


def test_locked_form_without_script_is_held(
    therapist: TestClient, site: Site, round_url: str
) -> None:
    assert round_url
    answer = therapist.post("/patients/new", data={"label": "Green 4"})
    form = {"passphrase": PASSPHRASE, "next": "/caseload"}
    onward = therapist.post("/unlock", data=form).headers["location"]

    assert answer.status_code == 423
    assert "kept for you" in answer.text
    assert "Green 4" not in answer.text
    assert onward == "/held"
    with read_session(site.engine) as session:
        assert session.exec(select(HeldRequest.path)).all() == ["/patients/new"]


def test_passphrase_opens_where_one_was(therapist: TestClient, round_url: str) -> None:
    form = {"passphrase": PASSPHRASE, "next": round_url}
    answer = therapist.post("/unlock", data=form)

    assert (answer.status_code, answer.headers["location"]) == (303, round_url)
    assert LABEL in therapist.get(round_url).text


def test_script_unlocks_by_status(therapist: TestClient, round_url: str) -> None:
    answers = [
        therapist.post("/unlock", data={"passphrase": p}, headers=HTMX)
        for p in ("wrong", PASSPHRASE)
    ]

    assert [a.status_code for a in answers] == [422, 204]
    assert "not the passphrase" in found(answers[0].text, "[role=alert]").text()
    assert therapist.get(round_url).status_code == 200


@pytest.mark.parametrize("typed", ["", "wrong", PASSPHRASE.upper()])
def test_wrong_passphrase_opens_nothing(
    therapist: TestClient, round_url: str, typed: str
) -> None:
    answer = therapist.post("/unlock", data={"passphrase": typed, "next": "/held"})

    assert answer.status_code == 422
    assert "not the passphrase" in found(answer.text, "[role=alert]").text()
    assert found(answer.text, "[name=next]").attributes["value"] == "/held"
    assert therapist.get(round_url).status_code == 423


def test_another_persons_passphrase_does_not_unlock(
    therapist: TestClient, site: Site, round_url: str
) -> None:
    """Everybody of the cast has the same one, so somebody with another is locked."""
    with write_session(site.engine) as session:
        sign_in = session.exec(select(SignIn)).one()
        person = make_person(session, "other")
        person.passphrase_hash = "$argon2id$nothing"
        sign_in.person_id = person.id

    assert therapist.post("/unlock", data={"passphrase": PASSPHRASE}).status_code == 422
    assert therapist.get(round_url).status_code == 423


def test_unlock_never_leads_off_the_site(therapist: TestClient, round_url: str) -> None:
    assert round_url
    form = {"passphrase": PASSPHRASE, "next": "//evil.example"}

    assert therapist.post("/unlock", data=form).headers["location"] == "/home"


def test_locked_session_can_end(therapist: TestClient, round_url: str) -> None:
    assert therapist.post("/sign-out").status_code == 303
    assert therapist.get(round_url).headers["location"].startswith("/sign-in")


def test_session_tells_the_phone_that_it_is_locked(
    therapist: TestClient, round_url: str
) -> None:
    locked = therapist.get("/session")
    therapist.post("/unlock", data={"passphrase": PASSPHRASE})
    after = therapist.get("/session")

    assert round_url
    assert (locked.status_code, after.status_code) == (204, 204)
    assert locked.headers["x-tapeline-locked"] == "yes"
    assert "x-tapeline-locked" not in after.headers


def test_other_browser_of_the_same_person_stays_open(
    therapist: TestClient, app: FastAPI, round_url: str
) -> None:
    other = client_of(app)
    other.post("/sign-in", data={"handle": "therapist", "passphrase": PASSPHRASE})

    assert therapist.get(round_url).status_code == 423
    assert other.get(round_url).status_code == 200


def test_lock_and_unlock_are_in_the_audit_trail(
    therapist: TestClient, site: Site, round_url: str
) -> None:
    assert round_url
    therapist.post("/lock", headers=HTMX)
    therapist.post("/unlock", data={"passphrase": PASSPHRASE})

    with read_session(site.engine) as session:
        wanted = select(AuditEntry.deed).order_by(col(AuditEntry.id))
        deeds = list(session.exec(wanted))
    assert deeds[-2:] == ["locked", "unlocked"]
    assert deeds.count("locked") == 1


@pytest.mark.parametrize(
    ("minutes", "status"), [(4.9, 200), (6.1, 423)], ids=["used lately", "left alone"]
)
def test_idle_session_locks_itself(
    therapist: TestClient, clock: Clock, minutes: float, status: int
) -> None:
    therapist.get("/caseload")
    clock.move(minutes=minutes)

    assert therapist.get("/caseload").status_code == status


def test_idle_session_stays_locked_when_it_is_asked_again(
    therapist: TestClient, clock: Clock
) -> None:
    clock.move(minutes=7)
    asked = [therapist.get("/caseload").status_code for _ in range(3)]
    clock.move(minutes=1)
    asked.append(therapist.get("/session").status_code)
    asked.append(therapist.get("/caseload").status_code)
    therapist.post("/unlock", data={"passphrase": PASSPHRASE})
    clock.move(minutes=4)

    assert asked == [423, 423, 423, 204, 423]
    assert therapist.get("/caseload").status_code == 200


def test_every_request_of_an_open_session_is_a_use_of_it(
    therapist: TestClient, clock: Clock
) -> None:
    statuses = []
    for _ in range(5):
        clock.move(minutes=3)
        statuses.append(therapist.get("/session").status_code)
    statuses.append(therapist.get("/caseload").status_code)

    assert statuses == [204] * 5 + [200]


def test_idle_session_still_takes_a_trial(
    therapist: TestClient, patient_id: int, site: Site, clock: Clock
) -> None:
    url = a_round(therapist, patient_id, STANDS)
    clock.move(minutes=30)
    answer = send(therapist, url, typed="16.2")

    assert "Stored" in answer.text
    assert len(trials(site)) == 1


@pytest.fixture(params=[{"idle_minutes": 0}, {"demo": True}], ids=str)
def never_idle(
    request: pytest.FixtureRequest, settings: Settings, clock: Clock
) -> Iterator[TestClient]:
    own = Settings(data_dir=settings.data_dir, site_timezone="UTC", **request.param)
    with running(own, clock) as app:
        client = client_of(app)
        client.post("/sign-in", data={"handle": "therapist", "passphrase": PASSPHRASE})
        yield client


def test_idleness_can_be_switched_off(never_idle: TestClient, clock: Clock) -> None:
    clock.move(hours=3)
    page = never_idle.get("/caseload")

    assert page.status_code == 200
    assert found(page.text, "body").attributes["data-idle-minutes"] == "0"


def test_page_tells_the_phone_how_long_it_may_rest(therapist: TestClient) -> None:
    body = found(therapist.get("/caseload").text, "body").attributes

    assert body["data-idle-minutes"] == "5"
    assert body["data-person"] == "1"


def test_site_without_a_lock_says_so(never_idle: TestClient) -> None:
    """Of the demo nothing: nobody there is real."""
    page = never_idle.get("/account").text

    is_demo = never_idle.app.state.site.settings.demo  # type: ignore[attr-defined]
    assert ("Pages here never lock by themselves" in page) != is_demo


def test_demo_has_no_lock(never_idle: TestClient) -> None:
    page = never_idle.get("/caseload").text
    answer = never_idle.post("/lock", headers=HTMX)

    is_demo = "everybody here is invented" in page
    assert answer.status_code == (404 if is_demo else 204)
    assert ('<form method="post" action="/lock"' in page) is not is_demo


def test_stranger_cannot_lock_or_unlock(client: TestClient) -> None:
    assert client.post("/lock", headers=HTMX).status_code == 401
    assert client.post("/unlock", data={"passphrase": "x"}).status_code == 303


@pytest.mark.parametrize("asked", sorted(POLLED), ids=str)
def test_page_left_open_is_no_use_of_the_session(
    sign_in_as: Callable[[str], TestClient], clock: Clock, asked: tuple[str, str]
) -> None:
    """Every address that an open page asks by itself; any other one is use."""
    supervisor, (way, path) = sign_in_as("supervisor"), asked
    asked_by_hand = sign_in_as("supervisor")
    for _ in range(7):
        clock.move(minutes=1)
        supervisor.request(way, path.format(round_id=1), headers=HTMX)
        asked_by_hand.get("/session")

    assert supervisor.get("/people").status_code == 423
    assert asked_by_hand.get("/people").status_code == 200


def test_every_page_that_asks_by_itself_is_known() -> None:
    """What htmx sends on loading, without a touch, is in the closed list."""
    loads = re.compile(r'hx-(get|post)="([^"]+)"[^>]*hx-trigger="(?:load|every)')
    found = {
        (way.upper(), path)
        for at in folder("templates").rglob("*.html")
        for way, path in loads.findall(at.read_text())
    }

    assert found
    assert found <= POLLED
