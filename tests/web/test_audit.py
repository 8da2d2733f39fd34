"""The trail on screen: who may read it, its filter, its links, whether it is whole."""

import re
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import text
from starlette.testclient import TestClient

from app.storage.database import read_session, write_session
from app.storage.wrong_guesses import note_wrong
from app.web.audit_words import DEEDS
from app.web.deps import Site
from tests.conftest import Clock, found, person_by
from tests.make import make_patient, make_person

APP = Path(__file__).parents[2] / "app"


@pytest.mark.parametrize("who", ["therapist", "colleague", "student", "outsider"])
def test_only_supervisors_see_it(
    sign_in_as: Callable[[str], TestClient], who: str
) -> None:
    assert sign_in_as(who).get("/audit").status_code == 403
    assert sign_in_as(who).post("/audit/check").status_code == 403


def test_entries_say_who_did_what_and_link_to_it(
    supervisor: TestClient, patient_id: int
) -> None:
    page = supervisor.get("/audit").text

    assert "Therapist</b> added a patient:" in page
    assert f'<a href="/patients/{patient_id}">Blue 7</a>' in page
    assert "The program</b> added somebody who works here:" in page


def test_demo_supervisor_sees_only_their_world(
    site: Site, sign_in_as: Callable[[str], TestClient], supervisor: TestClient
) -> None:
    with write_session(site.engine) as session:
        demo = make_person(session, "demo", role="supervisor", is_demo=True)
        make_patient(session, demo, label="Teal 1")

    theirs, ours = sign_in_as("demo").get("/audit").text, supervisor.get("/audit").text

    assert "Teal 1" in theirs
    assert "Blue 7" not in theirs
    assert "Therapist" not in found(theirs, "main").text()
    assert "Teal 1" not in ours


def test_filter_keeps_what_was_chosen(supervisor: TestClient, site: Site) -> None:
    with read_session(site.engine) as session:
        who = person_by(session, "therapist").id
    page = supervisor.get(f"/audit?who={who}&deed=added_patient&subject=patient").text

    assert len(re.findall(r"<b>Therapist</b> added a patient", page)) == 1
    assert "opened a stretch of care:" not in page
    assert found(page, "#deed [selected]").attributes["value"] == "added_patient"


def test_days_are_the_sites_days(supervisor: TestClient) -> None:
    there = supervisor.get("/audit?from=2026-03-02&to=2026-03-02").text
    before = supervisor.get("/audit?to=2026-03-01").text

    assert "Blue 7" in there
    assert "No entry fits this." in before


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("from", "yesterday"),
        ("from", "2026-02-30"),
        ("to", "0001-01-01"),
        ("who", "me"),
        ("who", "-1"),
        ("who", "99999999999999999999"),
        ("before", "x"),
        ("deed", "'; DROP"),
        ("subject", "Blue 7"),
    ],
)
def test_bad_filter_is_told(supervisor: TestClient, name: str, value: str) -> None:
    answer = supervisor.get("/audit", params={name: value})

    assert answer.status_code == 422
    assert "Blue 7</a>" not in answer.text


def test_end_before_start_is_told(supervisor: TestClient) -> None:
    answer = supervisor.get("/audit?from=2026-03-02&to=2026-03-01")

    assert (
        found(answer.text, "#to-error").text() == "This day lies before the first one."
    )


def test_older_entries_have_a_page(
    supervisor: TestClient, site: Site, sign_in_as: Callable[[str], TestClient]
) -> None:
    for _ in range(30):
        sign_in_as("therapist")
    with write_session(site.engine) as session:
        for number in range(30):
            make_person(session, f"person{number}")
    first = supervisor.get("/audit").text
    older = found(first, "a[href*=before]").attributes["href"] or ""
    second = supervisor.get(older).text
    ids = [re.findall(r"entry (\d+)", page) for page in (first, second)]

    assert len(ids[0]) == 50
    assert int(ids[0][-1]) == int(ids[1][0]) + 1
    assert ids[1][-1] == "1"


def test_entry_of_another_year_names_it(
    clock: Clock, sign_in_as: Callable[[str], TestClient]
) -> None:
    clock.move(days=365)
    page = sign_in_as("supervisor").get("/audit").text

    assert "2 Mar 2026, 09:30" in page
    assert "2 Mar, 09:30" in page


def test_chain_is_checked_on_asking(supervisor: TestClient) -> None:
    before = found(supervisor.get("/audit").text, "#chain").text()
    answer = supervisor.post("/audit/check")
    after = found(supervisor.get("/audit").text, "#chain").text()

    assert "Not checked yet" in before
    assert answer.headers["location"] == "/audit"
    assert re.search(r"Unbroken up to entry \d+", after)
    assert "Checked 2 Mar, 09:30" in after


def test_broken_chain_is_said_with_its_entry(
    supervisor: TestClient, site: Site
) -> None:
    with write_session(site.engine) as session:
        session.connection().execute(
            text("UPDATE audit_entry SET deed = 'locked' WHERE id = 2")
        )
    page = supervisor.post("/audit/check", headers={"hx-request": "true"}).text

    assert "Broken at entry 2" in found(page, "#chain .state").text()


def test_every_deed_of_the_program_has_its_words() -> None:
    """Also those that a function of their module hands on to the trail."""
    makers = r"audit\.deed\(\s*[\w.]+,\s*|did=|(?:_changed|_done)\([\w, .]+,\s*"
    calls = re.compile(f'(?:{makers})"([a-z_]+)"')
    used = {
        word for path in APP.rglob("*.py") for word in calls.findall(path.read_text())
    }

    assert {"added_patient", "sent_held", "closed_episode", "closed_visit"} <= used
    assert used <= set(DEEDS)


def test_wrong_guesses_are_told_by_handle_and_never_as_typed(
    client: TestClient, supervisor: TestClient
) -> None:
    assert "Wrong passphrases" not in supervisor.get("/audit").text
    for handle, typed in (
        ("therapist", "a wrong heron"), ("Therapist ", "another one"),
        ("my own passphrase", "typed in the wrong field"),
    ):  # fmt: skip
        client.post("/sign-in", data={"handle": handle, "passphrase": typed})

    told = found(supervisor.get("/audit").text, "#wrong").text()
    assert "therapist: 2 times, last 2 Mar, 09:30" in " ".join(told.split())
    assert "handles that nobody has: 1 time" in told
    trail = supervisor.get("/audit?deed=refused_passphrase").text
    assert trail.count("was given a wrong passphrase") == 3  # two, and the filter
    for typed in ("wrong heron", "another one", "my own passphrase"):
        assert typed not in supervisor.get("/audit").text


def test_wrong_pin_is_told_and_an_old_guess_is_not(
    site: Site, supervisor: TestClient, clock: Clock
) -> None:
    with write_session(site.engine) as session:
        old = clock() - timedelta(days=8)
        note_wrong(session, "colleague", "pin", old)
        note_wrong(session, "therapist", "pin", clock())

    told = found(supervisor.get("/audit").text, "#wrong").text()
    assert "therapist: 1 time" in told
    assert "colleague" not in told
