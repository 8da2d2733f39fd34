"""Counted trials on the pages: 0 is a result, and what the arms did stands apart."""

import pytest
from sqlmodel import select
from starlette.testclient import TestClient

from app.storage.database import read_session
from app.storage.scores import Score
from app.storage.trials import Trial
from app.web.deps import Form, Site
from app.web.held import value_sent
from tests.conftest import found
from tests.web.bedside import a_round, send

CHAIR = "thirty_second_chair_stand"


def page_of(client: TestClient, url: str) -> str:
    return found(client.get(url).text, "main").text()


def kept(site: Site) -> tuple[Trial, Score]:
    with read_session(site.engine) as session:
        return session.exec(select(Trial)).one(), session.exec(select(Score)).one()


@pytest.mark.parametrize(
    ("typed", "words"), [("0", "0 stands"), ("1", "1 stand"), ("12", "12 stands")]
)
def test_count_is_kept_and_named(
    therapist: TestClient, patient_id: int, site: Site, typed: str, words: str
) -> None:
    url = a_round(therapist, patient_id, CHAIR)
    assert send(therapist, url, count=typed, raw_ms="30000").status_code == 303
    trial, score = kept(site)

    assert (trial.outcome, trial.count, trial.raw_ms) == ("completed", int(typed), None)
    assert (score.outcome, score.value) == ("completed", typed)
    said = therapist.get(url).text
    assert " ".join(found(said, ".value").text().split()) == words
    assert words in page_of(therapist, url)


@pytest.mark.parametrize("typed", ["", "61", "-1", "2.5", "x", "99999999"])
def test_bad_count_comes_back_beside_the_field(
    therapist: TestClient, patient_id: int, site: Site, typed: str
) -> None:
    url = a_round(therapist, patient_id, CHAIR)
    answer = send(therapist, url, count=typed)

    assert answer.status_code == 422
    assert len(found(answer.text, "#count-error").text()) > 10
    assert found(answer.text, "#count").attributes["value"] == typed
    with read_session(site.engine) as session:
        assert session.exec(select(Trial)).all() == []


@pytest.mark.parametrize(
    ("setup", "beside"),
    [({"fact-arms_used": "yes"}, {}), ({}, {"input-arms_needed": "yes"})],
)
def test_count_with_the_arms_is_scored_0_and_kept(
    therapist: TestClient,
    patient_id: int,
    site: Site,
    setup: dict[str, str],
    beside: dict[str, str],
) -> None:
    url = a_round(therapist, patient_id, CHAIR, **setup)
    send(therapist, url, count="9", **beside)
    trial, score = kept(site)

    assert (trial.count, score.value) == (9, "0")
    said = page_of(therapist, url)
    assert "Stands with the arms, a modified count: 9" in said
    assert "0 is below 10" in said


def test_score_of_0_stands_on_the_brief_and_in_history(
    therapist: TestClient, patient_id: int
) -> None:
    url = a_round(therapist, patient_id, CHAIR)
    send(therapist, url, count="0")

    brief = therapist.get(f"/patients/{patient_id}").text
    history = therapist.get(f"/patients/{patient_id}/measures/{CHAIR}").text
    assert "30-second" in found(brief, "main").text()
    assert found(history, "section:last-of-type h2").text().endswith(": 0")


def test_unable_stays_apart_from_0(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    url = a_round(therapist, patient_id, CHAIR)
    send(therapist, url, outcome="unable", reason="physical")
    trial, score = kept(site)

    assert (trial.count, score.outcome, score.value) == (None, "unable", None)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"count": "12", "raw_ms": "30000", "counted": "stand stands"}, "12 stands"),
        ({"count": "1", "counted": "stand stands"}, "1 stand"),
        ({"count": "0", "raw_ms": "30000", "counted": "stand stands"}, "0 stands"),
        ({"count": "12"}, "12"),
        ({"raw_ms": "16200"}, "16.2 s (raw)"),
        ({}, "no value"),
    ],
)
def test_held_count_says_what_was_counted(fields: dict[str, str], words: str) -> None:
    assert value_sent(Form(list(fields.items()))) == words
