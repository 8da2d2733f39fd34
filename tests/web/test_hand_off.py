"""The hand-off card on screen: made from events, edited, given, and of nobody named."""

from collections.abc import Iterator
from uuid import uuid4

import pytest
from fastapi import FastAPI
from sqlmodel import Session, col, select
from starlette.testclient import TestClient

from app.catalogue.load import catalogue
from app.clinical.hand_off import (
    AUDIENCES,
    MOST_SECONDS,
    Card,
    card,
    hand_off,
    spoken_seconds,
)
from app.main import create_app
from app.settings import Settings
from app.storage.database import read_session, write_session
from app.storage.episodes import Episode, Visit, open_episode
from app.storage.hand_offs import HandOff
from app.storage.patients import Patient
from app.storage.responsible import assign
from app.storage.visits import ExitItem
from app.web.deps import Site
from app.web.hand_off_facts import hand_off_facts
from tests.built_demo import CopyDemo
from tests.conftest import DATABASE, found, person_by
from tests.make import NOW, ZONE, make_home_sheet, make_precaution
from tests.web.bedside import done
from tests.web.test_visits import TASK, SignIn, begin, put, rows

GIVEN = {"given_to": "nurse", "read_back": "yes", "line-moves": "One person, walker."}


@pytest.fixture
def visit(therapist: TestClient, patient_id: int, site: Site) -> str:
    """With a task, an order, vital signs outside it, a test and what was left."""
    visit = begin(therapist, patient_id)
    put(therapist, visit, "limits", systolic_high="150", set_by="physician")
    put(therapist, visit, "vitals", position="sitting", systolic="160", diastolic="80")
    put(therapist, visit, "symptoms", agreed="yes", pain="4", dizzy="no")
    done(therapist, patient_id, "timed_up_and_go", "16.2")
    put(therapist, visit, "tasks", **TASK | {"task": "transfer_chair"})
    put(therapist, visit, "exit", **{"exit-bell": "done", "exit-bed_low": "done"})
    with write_session(site.engine) as session:
        patient = session.get_one(Patient, patient_id)
        owner = person_by(session, "therapist")
        make_precaution(session, owner, open_episode(session, patient))
    return visit


def said(page: str) -> list[str]:
    return [
        box.text() for box in found(page, "main").css(".aloud textarea") if box.text()
    ]


def test_card_is_made_from_the_visits_events(therapist: TestClient, visit: str) -> None:
    page = therapist.get(f"{visit}/hand-off/nursing").text

    assert said(page) == [
        "Chair transfer: moderate help, one person.",
        "Leg: toe-touch only, until it is lifted.",
        "Systolic 160 mmHg is above the order's limit of 150 mmHg.",
        "They said: pain 4 of 10.",
        "Left: bell in reach, bed low.",
        "Last up at 09:30: chair transfer.",
    ]
    told = " ".join(found(page, "main").text().split())
    assert f"About {spoken_seconds(said(page))} s aloud" in told
    assert "150 words a minute: common practice" in page


def test_hand_off_is_kept_as_edited_and_answers_the_exit_list(
    therapist: TestClient, visit: str, site: Site
) -> None:
    form = GIVEN | {"uid": uuid4().hex, "line-worry": "Rushes\nat the door."}
    form |= {"line-left": " ", "more-x": "not ticked", "more-y": "ticked", "take": "y"}
    sent = [therapist.post(f"{visit}/hand-off/nursing", data=form) for _ in range(2)]
    page = therapist.get(visit).text
    (row,) = rows(site, HandOff)

    assert {a.status_code for a in sent} == {303}
    assert row.lines == ["One person, walker.", "Rushes at the door.", "ticked"]
    assert (row.audience, row.given_to, row.read_back) == ("nursing", "nurse", True)
    exits = {item.item: item.told_role for item in rows(site, ExitItem)}
    assert exits["hand_off"] == "nurse"
    says = "Handed off to nurse (nursing), about 4 s; read back"
    assert says in found(page, "#hand-off").text()
    assert says in found(page, "#timeline").text()
    given = found(therapist.get(f"{visit}/hand-off/nursing").text, "#given")
    assert "Rushes at the door." in given.text()


@pytest.mark.parametrize(
    ("form", "field"),
    [
        ({"given_to": "family"}, "given_to"),
        ({"read_back": ""}, "read_back"),
        ({"line-moves": " "}, "lines"),
        ({"line-moves": "x" * 501}, "line-moves"),
        ({"line-moves": "Ask daughter Anna"}, "line-moves"),
    ],
)
def test_what_is_wrong_is_said_and_every_line_is_kept(
    therapist: TestClient, visit: str, site: Site, form: dict[str, str], field: str
) -> None:
    typed = GIVEN | {"line-gone-9": ""} | form
    answer = therapist.post(f"{visit}/hand-off/nursing", data=typed)
    kept = found(answer.text, "#line-moves").text()

    assert answer.status_code == 422
    assert found(answer.text, f"#{field}-error").text()
    assert kept.strip() == typed["line-moves"].strip()
    assert rows(site, HandOff) == []


def test_typed_line_that_is_no_longer_made_is_not_lost(
    therapist: TestClient, visit: str
) -> None:
    typed = GIVEN | {"line-order-99": "Brace on.", "read_back": ""}
    answer = therapist.post(f"{visit}/hand-off/nursing", data=typed)

    assert found(answer.text, "#line-order-99").text() == "Brace on."


def test_students_hand_off_waits_for_a_supervisor(
    sign_in_as: SignIn, visit: str, site: Site, patient_id: int
) -> None:
    with write_session(site.engine) as session:
        owner = person_by(session, "therapist")
        patient = session.get_one(Patient, patient_id)
        assign(session, owner, patient, person_by(session, "student"), now=site.clock())
    student = sign_in_as("student")
    page = student.get(f"{visit}/hand-off/nursing").text
    answer = student.post(f"{visit}/hand-off/nursing", data=GIVEN)

    assert "needs a co-signature first" in page
    assert "It was given" not in page
    assert answer.status_code == 403
    assert "needs a co-signature first" in answer.text
    assert rows(site, HandOff) == []


def test_only_known_audiences_and_people_find_the_card(
    therapist: TestClient, sign_in_as: SignIn, visit: str
) -> None:
    assert therapist.get(f"{visit}/hand-off/everybody").status_code == 404
    assert therapist.post(f"{visit}/hand-off/x", data=GIVEN).status_code == 404
    assert sign_in_as("outsider").get(f"{visit}/hand-off/family").status_code == 404


def test_family_hears_the_sheet_and_the_words_to_say(
    therapist: TestClient, visit: str, site: Site, patient_id: int
) -> None:
    with write_session(site.engine) as session:
        patient = session.get_one(Patient, patient_id)
        owner = person_by(session, "therapist")
        make_home_sheet(session, owner, open_episode(session, patient))
    put(
        therapist, visit, "teaching", to="family", topic="transfers", how="practised",
        back="prompts", prompts="2", words="nose over toes",
    )  # fmt: skip
    page = therapist.get(f"{visit}/hand-off/family").text
    everything = " ".join(box.text() for box in found(page, "main").css("textarea"))

    assert "Never alone: chair transfer, with help for about half" in everything
    assert "Say: “nose over toes”." in everything
    assert "call for emergency help now: chest pain or pressure" in everything
    assert "showed it back with 2 prompts" in everything


def test_what_was_taught_of_something_else_is_no_word_to_say(
    therapist: TestClient, visit: str
) -> None:
    put(
        therapist, visit, "teaching", to="family", topic="other", how="told",
        back="alone", words="lamp at night",
    )  # fmt: skip
    page = therapist.get(f"{visit}/hand-off/family").text

    assert "Taught family: “lamp at night”" in page
    assert "Say: “lamp at night”" not in page
    assert "Which words help?" in page


@pytest.fixture(scope="module")
def demo(
    tmp_path_factory: pytest.TempPathFactory, copy_demo: CopyDemo
) -> Iterator[FastAPI]:
    folder = tmp_path_factory.mktemp("demo")
    copy_demo(folder / DATABASE, NOW, ZONE)
    app = create_app(Settings(data_dir=folder, site_timezone="UTC"))
    yield app
    app.state.site.engine.dispose()


def cards(session: Session, site: Site) -> Iterator[tuple[Visit, str, Card]]:
    wanted = select(Visit).where(Visit.kind != "missed").order_by(col(Visit.id))
    for visit in session.exec(wanted).all():
        for to in AUDIENCES:
            facts = hand_off_facts(session, site, visit, to, NOW)
            yield visit, to, card(hand_off(facts, to))


def test_every_demo_visit_is_handed_off_in_time_and_names_nobody(
    demo: FastAPI,
) -> None:
    """Longer than 30 s is only a card that says nothing but safety."""
    with read_session(demo.state.site.engine) as session:
        made = list(cards(session, demo.state.site))
        labels = {p.id: p.label for p in session.exec(select(Patient))}
        whose = {e.id: labels[e.patient_id] for e in session.exec(select(Episode))}

    longer = [c for _, _, c in made if c.seconds > MOST_SECONDS]
    assert all(one.is_safety or not one.says for c in longer for one in c.lines)
    assert not any(one.is_safety for _, _, c in made for one in c.left_out)
    for visit, _, c in made:
        assert not any(whose[visit.episode_id] in one.says for one in c.lines)
    assert len(made) > 4 * 20
    assert len(longer) * 20 < len(made), [
        (v.id, to) for v, to, c in made if c in longer
    ]


def test_symptom_in_an_activity_is_handed_on(
    therapist: TestClient, visit: str, patient_id: int
) -> None:
    free = (
        a.id for a in catalogue().activities.values()
        if "ttwb_le" not in (*a.must_not, *a.caution)
    )  # fmt: skip
    url = f"/patients/{patient_id}/activities/{next(free)}/sets"
    for symptoms in (["dizzy", "faint"], ["dizzy"], []):
        data = {
            "uid": uuid4().hex,
            "outcome": "done",
            "grade": "",
            "reps": "5",
            "symptom": symptoms,
        }
        assert therapist.post(url, data=data).status_code == 303
    page = therapist.get(f"{visit}/hand-off/nursing").text
    (line,) = [words for words in said(page) if words.startswith("During ")]

    assert line.endswith(": dizzy, faint or passed out.")
    (box,) = [b for b in found(page, "main").css("textarea") if b.text() == line]
    assert "safety" in (box.attributes["class"] or "")
