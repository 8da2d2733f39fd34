"""Teaching on a visit's page: kept, told, voided, and nothing typed is lost."""

from uuid import uuid4

import pytest
from starlette.testclient import TestClient

from app.storage.database import write_session
from app.storage.patients import Patient
from app.storage.responsible import assign
from app.storage.teaching import Teaching
from app.web.deps import Site
from tests.conftest import found, person_by
from tests.web.test_visits import SignIn, begin, put, rows

TAUGHT = {"to": "family", "topic": "guarding", "how": "shown", "back": "alone"}
SAYS = "Taught family: guarding with the belt; shown; showed it back alone"


@pytest.fixture
def visit(therapist: TestClient, patient_id: int) -> str:
    return begin(therapist, patient_id)


def test_taught_once_is_one_event_of_the_visit(
    therapist: TestClient, visit: str, site: Site
) -> None:
    said = {"uid": uuid4().hex, **TAUGHT}
    sent = [therapist.post(f"{visit}/teaching", data=said) for _ in range(3)]
    other = therapist.post(f"{visit}/teaching", data=said | {"how": "told"})
    page = therapist.get(visit).text

    assert {a.headers["location"] for a in sent} == {f"{visit}#teaching"}
    assert other.status_code == 409
    assert len(rows(site, Teaching)) == 1
    assert SAYS in found(page, "#teaching").text()
    assert SAYS in found(page, "#timeline").text()


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"to": "neighbour"}, "to"),
        ({"topic": ""}, "topic"),
        ({"how": "mailed"}, "how"),
        ({"back": ""}, "back"),
        ({"back": "prompts"}, "prompts"),
        ({"back": "prompts", "prompts": "0"}, "prompts"),
        ({"topic": "other", "words": ""}, "words"),
        ({"words": "x" * 81}, "words"),
        ({"words": "daughter Anna holds the belt"}, "words"),
    ],
)
def test_what_is_wrong_is_said_beside_it_and_nothing_is_lost(
    therapist: TestClient, visit: str, site: Site, said: dict[str, str], field: str
) -> None:
    typed = TAUGHT | {"words": "nose over toes"} | said
    answer = therapist.post(f"{visit}/teaching", data=typed)
    page = found(answer.text, "#teaching")
    kept = {
        box.attributes["name"]: box.attributes.get("value")
        for box in page.css("input[checked], #taught-words, #prompts")
    }

    assert answer.status_code == 422
    assert page.css_first(f"#{field}-error") is not None
    valid = {k: v for k, v in typed.items() if k in ("how", "topic", "to") and v}
    assert {k: kept[k] for k in valid if k not in said} == {
        k: v for k, v in valid.items() if k not in said
    }
    assert kept["words"] == typed["words"]
    assert rows(site, Teaching) == []


def test_words_that_tell_of_nobody_are_kept_once_that_is_said(
    therapist: TestClient, visit: str, site: Site
) -> None:
    said = TAUGHT | {"topic": "other", "words": "bed 2 of the trial flat"}
    assert put(therapist, visit, "teaching", **said) == 422
    assert put(therapist, visit, "teaching", **said, sure="yes") == 303

    (row,) = rows(site, Teaching)
    assert (row.words, row.prompts) == ("bed 2 of the trial flat", None)


def test_voided_is_struck_through_with_its_reason(
    therapist: TestClient, visit: str, site: Site
) -> None:
    put(therapist, visit, "teaching", **TAUGHT, prompts="3")
    (row,) = rows(site, Teaching)
    none = therapist.post(f"/teaching/{row.id}/void", data={})
    gone = therapist.post(f"/teaching/{row.id}/void", data={"void_reason": "not him"})
    card = found(therapist.get(visit).text, "#teaching")

    assert (none.status_code, gone.status_code) == (422, 303)
    assert row.prompts is None
    assert [s.text() for s in card.css("s")] == [SAYS]
    assert "void: not him" in card.text()


def test_student_may_and_an_outsider_finds_none(
    therapist: TestClient,
    sign_in_as: SignIn,
    site: Site,
    patient_id: int,
) -> None:
    with write_session(site.engine) as session:
        owner = person_by(session, "therapist")
        patient = session.get_one(Patient, patient_id)
        assign(session, owner, patient, person_by(session, "student"), now=site.clock())
    student, outsider = sign_in_as("student"), sign_in_as("outsider")
    visit = begin(student, patient_id)

    assert put(student, visit, "teaching", **TAUGHT) == 303
    assert put(outsider, visit, "teaching", **TAUGHT) == 404
    assert outsider.get(f"{visit}/teaching").status_code == 404
    assert SAYS in therapist.get(f"{visit}/teaching").text
