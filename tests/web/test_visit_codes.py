"""The federal code of a task: proposed with its grounds, given by a person."""

import pytest
from starlette.testclient import TestClient

from app.storage.observations import TaskCode, TaskObservation
from app.web.deps import Site
from tests.conftest import found
from tests.make import PASSPHRASE
from tests.web.test_visits import TASK, begin, put, rows


@pytest.fixture
def visit(therapist: TestClient, patient_id: int) -> str:
    return begin(therapist, patient_id)


def test_code_is_proposed_with_its_grounds_and_taken(
    therapist: TestClient, visit: str, site: Site
) -> None:
    put(therapist, visit, "tasks", **TASK)
    before = therapist.get(visit).text
    taken = [put(therapist, visit, "tasks/1/code", code="03") for _ in range(2)]
    page = therapist.get(visit).text
    (given,) = rows(site, TaskCode)

    assert "03 proposed" in before
    assert "because the patient did 60 %, the helper 40 %: less than half" in before
    assert "LOINC 89405-5, full text" in before
    assert "[federal" not in before
    assert found(before, "#federal-error, .offer button").text() == "Take 03"
    assert taken == [303, 303]
    assert (given.code, given.proposed) == ("03", "03")
    assert "[federal 03]" in page
    assert rows(site, TaskObservation)[0].federal is None


def test_another_code_than_the_proposed_is_given(
    therapist: TestClient, visit: str, site: Site
) -> None:
    put(therapist, visit, "tasks", **TASK)
    put(therapist, visit, "tasks/1/code", code="03")
    put(therapist, visit, "tasks/1/code", code="02")
    page = therapist.get(visit).text

    assert [(r.code, r.proposed) for r in rows(site, TaskCode)] == [
        ("03", "03"),
        ("02", "03"),
    ]
    assert "[federal 02]" in page
    assert "Federal code 02 was given; <b>03 proposed</b>" in page


def test_moderate_without_a_share_proposes_nothing(
    therapist: TestClient, visit: str
) -> None:
    put(therapist, visit, "tasks", task="eating", level="moderate", helpers="1")
    page = therapist.get(visit).text

    assert "No federal code proposed: moderate may be 03 or 02" in page
    assert "Take 0" not in page


@pytest.mark.parametrize("code", ["", "11", "88"])
def test_code_that_does_not_fit_is_refused(
    therapist: TestClient, visit: str, site: Site, code: str
) -> None:
    put(therapist, visit, "tasks", **TASK)

    assert put(therapist, visit, "tasks/1/code", code=code) == 422
    assert rows(site, TaskCode) == []


def test_code_stands_once_the_visit_is_signed(
    therapist: TestClient, visit: str, site: Site
) -> None:
    put(therapist, visit, "tasks", **TASK)
    put(therapist, visit, "close", without="called away")
    assert put(therapist, visit, "tasks/1/code", code="03") == 303
    assert put(therapist, visit, "notes/visit/sign", passphrase=PASSPHRASE) == 303

    assert put(therapist, visit, "tasks/1/code", code="02") == 422
    assert [row.code for row in rows(site, TaskCode)] == ["03"]
