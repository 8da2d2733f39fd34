"""The brief and the list."""

from collections.abc import Callable

import pytest
from selectolax.lexbor import LexborHTMLParser
from starlette.testclient import TestClient

from app.storage.database import write_session
from app.storage.episodes import open_episode
from app.storage.patients import Patient
from app.web.deps import Site
from tests.conftest import Clock, found, person_by
from tests.make import make_precaution
from tests.web.bedside import a_round, done, send

SignIn = Callable[[str], TestClient]
STANDS = "five_times_sit_to_stand"


def test_brief_says_who_and_what_holds(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    with write_session(site.engine) as session:
        owner = person_by(session, "therapist")
        patient = session.get_one(Patient, patient_id)
        make_precaution(session, owner, open_episode(session, patient), "ortho_hypo")
    text = therapist.get(f"/patients/{patient_id}").text

    assert "77 or 78, woman" in text
    assert "Blood pressure drops on standing" in text
    assert "walks less since a fall" in text


def test_no_precaution_is_not_said_to_be_safe(
    therapist: TestClient, patient_id: int
) -> None:
    assert "none recorded is not none" in therapist.get(f"/patients/{patient_id}").text


def test_retest_is_due_after_two_weeks(
    sign_in_as: SignIn, patient_id: int, clock: Clock
) -> None:
    done(sign_in_as("therapist"), patient_id, STANDS, "16.2")
    clock.move(days=13)
    early = sign_in_as("therapist").get(f"/patients/{patient_id}").text
    clock.move(days=1)
    due = sign_in_as("therapist").get(f"/patients/{patient_id}").text
    caseload = sign_in_as("therapist").get("/caseload").text

    assert "due again" not in early
    assert "due again" in due
    assert "Same set-up today" in due
    assert "due" in found(caseload, ".state.due").text()


def test_blocked_retest_is_never_due(
    sign_in_as: SignIn, patient_id: int, clock: Clock, site: Site
) -> None:
    done(sign_in_as("therapist"), patient_id, STANDS, "16.2")
    with write_session(site.engine) as session:
        owner = person_by(session, "therapist")
        patient = session.get_one(Patient, patient_id)
        make_precaution(session, owner, open_episode(session, patient), "medical_hold")
    clock.move(days=20)
    client = sign_in_as("therapist")

    assert "due again" not in client.get(f"/patients/{patient_id}").text
    assert found(client.get("/caseload").text, ".person")
    assert "state due" not in client.get("/caseload").text


def test_caseload_lists_own_patients_only(
    therapist: TestClient, outsider: TestClient
) -> None:
    assert "Blue 7" in therapist.get("/caseload").text
    assert "Blue 7" not in outsider.get("/caseload").text
    empty = outsider.get("/caseload").text
    assert "Nobody here yet" in empty
    assert {a.attributes["href"] for a in LexborHTMLParser(empty).css("#first a")} == {
        "/patients/new", "/practice",
    }  # fmt: skip
    assert "To begin with" not in therapist.get("/caseload").text


def test_last_reading_stands_on_the_brief(
    therapist: TestClient, patient_id: int
) -> None:
    done(therapist, patient_id, STANDS, "16.2")
    text = therapist.get(f"/patients/{patient_id}").text

    assert "16.2 s" in text
    assert found(text, "svg.tape.mini")


@pytest.mark.parametrize("who", ["colleague", "outsider", "student"])
def test_brief_is_not_found_for_others(
    request: pytest.FixtureRequest, patient_id: int, who: str
) -> None:
    other: TestClient = request.getfixturevalue(who)

    assert other.get(f"/patients/{patient_id}").status_code == 404


def test_no_label_stands_in_an_address(therapist: TestClient) -> None:
    text = therapist.get("/caseload").text

    assert 'href="/patients/' in text
    assert "Blue" not in "".join(
        part.split('"')[0] for part in text.split('href="')[1:]
    )


def test_unfinished_test_is_offered_again(
    therapist: TestClient, patient_id: int
) -> None:
    url = a_round(therapist, patient_id, "functional_reach")
    send(therapist, url, distance="9.5", unit="in")
    text = therapist.get(f"/patients/{patient_id}").text

    assert "1 of 3 trials so far" in text
    assert f'href="{url}"' in text


def test_due_card_says_what_to_mind(
    sign_in_as: SignIn, patient_id: int, clock: Clock, site: Site
) -> None:
    done(sign_in_as("therapist"), patient_id, STANDS, "16.2")
    with write_session(site.engine) as session:
        owner = person_by(session, "therapist")
        patient = session.get_one(Patient, patient_id)
        make_precaution(session, owner, open_episode(session, patient), "ortho_hypo")
    clock.move(days=14)
    text = sign_in_as("therapist").get(f"/patients/{patient_id}").text

    assert "reading first, slow changes" in found(text, ".owed-test .caution").text()


def test_caseload_flags_a_stop(therapist: TestClient, patient_id: int) -> None:
    url = a_round(therapist, patient_id, STANDS)
    assert "not tested yet" in therapist.get("/caseload").text
    send(therapist, url, outcome="stopped", raw_ms="4000")

    flag = found(therapist.get("/caseload").text, ".person .state.stopped").text()
    assert "stopped for safety" in flag
