"""The line about the open visit, on the brief and on every page of a test."""

from datetime import timedelta

import pytest
from starlette.testclient import TestClient

from app.clinical.visiting import FIRST_DO
from app.storage.visits import VisitPause
from app.web.deps import Site
from tests.conftest import Clock, found
from tests.web.bedside import a_round
from tests.web.test_visits import begin, put, rows

FIVE = "five_times_sit_to_stand"
BAR = ".open-visit"


def pages(client: TestClient, patient_id: int) -> list[str]:
    """The addresses on which the line stands."""
    brief = f"/patients/{patient_id}"
    measure = f"{brief}/measures/{FIVE}"
    round = a_round(client, patient_id, FIVE)
    return [brief, f"{brief}/measures", measure, f"{measure}/ready", round]


def test_open_visit_is_in_sight_on_every_page_of_a_test(
    therapist: TestClient, patient_id: int, clock: Clock
) -> None:
    visit = begin(therapist, patient_id)
    asked = pages(therapist, patient_id)
    clock.move(minutes=4)
    for path in asked:
        page = therapist.get(path).text
        link = found(page, f"{BAR} a")
        assert " ".join(link.text().split()) == "Visit open since 09:30, 4 min", path
        assert link.attributes["href"] == visit
        assert found(page, f"{BAR} form").attributes["action"] == f"{visit}/pause"


def test_todays_dizziness_and_fall_stand_on_every_page_of_a_test(
    therapist: TestClient, patient_id: int
) -> None:
    """The quick way to a test that was done before does not lead past them."""
    visit = begin(therapist, patient_id)
    asked = pages(therapist, patient_id)
    put(therapist, visit, "symptoms", dizzy="yes", fell="yes")
    for path in asked:
        page = therapist.get(path).text
        assert FIRST_DO["dizzy"] in page, path
        assert FIRST_DO["fell"] in page, path
    put(therapist, visit, "symptoms", dizzy="no")
    page = therapist.get(asked[0]).text

    assert FIRST_DO["dizzy"] not in page
    assert FIRST_DO["fell"] in page


def test_pause_is_reached_from_there_and_said(
    therapist: TestClient, patient_id: int, site: Site, clock: Clock
) -> None:
    visit = begin(therapist, patient_id)
    clock.move(minutes=2)
    put(therapist, visit, "pause", reason="toilet")
    clock.move(minutes=2)
    page = therapist.get(f"/patients/{patient_id}/measures").text
    put(therapist, visit, "resume")
    later = therapist.get(f"/patients/{patient_id}/measures").text
    (pause,) = rows(site, VisitPause)

    assert found(page, f"{BAR} a").text().strip() == "Visit paused since 09:32"
    assert found(page, f"{BAR} form").attributes["action"] == f"{visit}/resume"
    assert "since 09:30, <span" in later
    assert found(later, f"{BAR} [data-minutes]").text() == "2"
    assert pause.until - pause.since == timedelta(minutes=2)


@pytest.mark.parametrize("ending", ["close", "none"])
def test_without_an_open_visit_there_is_no_line(
    therapist: TestClient, patient_id: int, ending: str
) -> None:
    if ending == "close":
        visit = begin(therapist, patient_id)
        put(therapist, visit, "close", without="called away")

    page = therapist.get(f"/patients/{patient_id}/measures").text
    assert "open-visit" not in page


def test_somebody_elses_visit_is_not_mine_to_go_on_with(
    therapist: TestClient, supervisor: TestClient, patient_id: int
) -> None:
    begin(therapist, patient_id)

    assert "open-visit" not in supervisor.get(f"/patients/{patient_id}").text


def test_closing_is_no_reason_to_pause(therapist: TestClient, patient_id: int) -> None:
    visit = begin(therapist, patient_id)

    assert put(therapist, visit, "pause", reason="closed") == 422
    assert 'value="closed"' not in therapist.get(visit).text
