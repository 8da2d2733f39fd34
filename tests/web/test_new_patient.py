"""Adding a patient: no name needed, every field told beside itself, nothing doubled."""

from uuid import uuid4

import httpx2
import pytest
from sqlmodel import col, select
from starlette.testclient import TestClient

from app.identifiers import looks_like
from app.storage.database import read_session
from app.storage.patients import Patient
from app.web import labels as made_up
from app.web.deps import Site
from tests.conftest import found

GOOD = {
    "label": "Flint Wren",
    "reason": "getting up is slow",
    "birth_year": "1948",
    "sex": "female",
    "setting": "community",
    "plan": "restore",
}


def add(client: TestClient, **fields: str) -> httpx2.Response:
    return client.post("/patients/new", data={"uid": uuid4().hex, **GOOD, **fields})


def labels(site: Site) -> list[str]:
    with read_session(site.engine) as session:
        return list(session.exec(select(Patient.label).order_by(col(Patient.id))))


def test_form_offers_a_made_up_label(therapist: TestClient) -> None:
    label = found(therapist.get("/patients/new").text, "#label").attributes["value"]

    assert label
    assert len(label.split()) == 2


def test_another_label_keeps_everything_else_typed(
    therapist: TestClient, site: Site
) -> None:
    typed = {**GOOD, "condition": "stroke", "since-stroke": "soon", "another": "yes"}
    answer = therapist.post("/patients/new", data={"uid": uuid4().hex, **typed})
    part = therapist.post("/patients/new", data=typed, headers={"hx-request": "true"})
    label = found(answer.text, "#label").attributes["value"]

    assert answer.status_code == 200
    assert label != "Flint Wren"
    assert found(answer.text, "#reason").attributes["value"] == GOOD["reason"]
    assert found(answer.text, "[name=since-stroke]").attributes["value"] == "soon"
    assert "<html" in answer.text
    assert "<html" not in part.text
    assert found(part.text, "#label").attributes["value"] != "Flint Wren"
    assert "Flint Wren" not in labels(site)


def test_enter_adds_and_does_not_change_the_label(therapist: TestClient) -> None:
    """Enter presses the first button of a form."""
    form = found(therapist.get("/patients/new").text, "main form")
    first = form.css("button")[0]

    assert "name" not in first.attributes
    assert "another" in {b.attributes.get("name") for b in form.css("button")}


def test_free_label_is_not_one_that_is_taken(
    therapist: TestClient, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    add(therapist, label="Acorn Abacus")
    monkeypatch.setattr(made_up, "FIRST", ("Acorn",))
    monkeypatch.setattr(made_up, "SECOND", ("Abacus", "Banjo", "Cello"))
    with read_session(site.engine) as session:
        offered = {
            made_up.free_label(session, is_demo=False, but="Acorn Banjo")
            for _ in range(20)
        }

    assert offered == {"Acorn Cello"}


#: Words somebody could hear as meant for them, or take for a name or an address.
UNFIT = {
    "Ash", "Barrel", "Crane", "Crown", "Dodo", "Elder", "Ginger", "Hazel", "Ivory",
    "Lane", "Lynx", "Martin", "Needle", "Nuthatch", "Olive", "Organ", "Pale", "Palm",
    "Puffin", "Robin", "Rose", "Rust", "Shrew", "Sloth", "Snail", "Stool", "Street",
    "Swallow", "Swift", "Thrush", "Turtle", "Walnut", "Whale", "Wheel", "Yellow",
}  # fmt: skip


def test_labels_are_many_and_neutral() -> None:
    words = (*made_up.FIRST, *made_up.SECOND)

    assert min(len(made_up.FIRST), len(made_up.SECOND)) >= 200
    assert len(set(words)) == len(words)
    assert all(word.isalpha() and word.istitle() for word in words)
    assert not UNFIT & set(words)
    assert not any(looks_like(f"{word} Banjo") for word in made_up.FIRST)
    assert not any(looks_like(f"Acorn {word}") for word in made_up.SECOND)


def test_patient_is_added_with_an_open_episode(therapist: TestClient) -> None:
    answer = add(therapist, condition="stroke", precaution="neglect")
    text = therapist.get(answer.headers["location"]).text

    assert answer.status_code == 303
    assert "stroke" in text
    assert "Misses one side" in text
    assert "Choose a test" in text


def test_double_tap_adds_one(therapist: TestClient, site: Site) -> None:
    uid = uuid4().hex
    first, second = (add(therapist, uid=uid) for _ in range(2))

    assert first.headers["location"] == second.headers["location"]
    assert labels(site).count("Flint Wren") == 1


BAD = [
    ("birth_date", "2026-03-03"),  # tomorrow, by the tests' clock
    ("birth_date", "2023-02-29"),
    ("birth_date", "0"),
    ("birth_date", "1948-3-9"),
    ("birth_date", "09/03/1948"),
    ("birth_date", "1800-01-01"),
    ("birth_year", "2027"),
    ("birth_year", "48"),
    ("birth_year", "１９４８"),
    ("label", " "),
    ("label", "x" * 81),
    ("reason", ""),
    ("setting", "moon"),
    ("plan", ""),
    ("sex", "other words"),
]


@pytest.mark.parametrize(("name", "value"), BAD)
def test_bad_field_comes_back_beside_itself(
    therapist: TestClient, site: Site, name: str, value: str
) -> None:
    before = labels(site)
    fields = {"birth_year": "", name: value}
    answer = add(therapist, **fields)

    assert answer.status_code == 422
    assert found(answer.text, ".error").text()
    if name not in ("setting", "plan", "sex"):
        assert found(answer.text, f"#{name}-error").text()
        assert found(answer.text, f"#{name}").attributes["value"] == value.strip()
    assert labels(site) == before


def test_leap_day_birthday_is_taken(therapist: TestClient) -> None:
    answer = add(therapist, birth_year="", birth_date="1948-02-29")

    assert "78, woman" in therapist.get(answer.headers["location"]).text


def test_date_and_year_together_are_refused(therapist: TestClient) -> None:
    answer = add(therapist, birth_date="1948-03-09")

    assert "not both" in found(answer.text, "#birth_year-error").text()


def test_student_may_not_add(student: TestClient, site: Site) -> None:
    before = labels(site)

    assert student.get("/patients/new").status_code == 403
    assert add(student).status_code == 403
    assert labels(site) == before
    assert "Add a patient" not in student.get("/caseload").text


def test_same_id_with_an_order_added_is_not_swallowed(therapist: TestClient) -> None:
    """Back, tick an order, send again: the order must not vanish in silence."""
    uid = uuid4().hex
    add(therapist, uid=uid)

    assert add(therapist, uid=uid, precaution="nwb_le").status_code == 409
