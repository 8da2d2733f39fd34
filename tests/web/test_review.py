"""A student hands in, a supervisor reads, returns, co-signs; both texts are kept."""

from collections.abc import Callable

import pytest
from sqlalchemy import text
from sqlmodel import select
from starlette.testclient import TestClient

from app.storage.database import read_session, write_session
from app.storage.patients import Patient
from app.storage.responsible import assign
from app.storage.review import ReviewDecision, VisitText, broken_texts
from app.web.deps import Site
from tests.conftest import found, person_by
from tests.make import PASSPHRASE
from tests.web.test_visits import LEFT_ROOM, begin, put

SignIn = Callable[[str], TestClient]
LINE = f"own-{'1' * 32}"
OWN = "Needed two rests; graded the seat height down."
SAID = {
    "statement": "Present throughout; I decided on the grading.",
    "presence": "in_room",
}


@pytest.fixture
def visit(student: TestClient, site: Site, patient_id: int) -> str:
    """The student's closed visit with one task in it."""
    with write_session(site.engine) as session:
        owner, pupil = person_by(session, "therapist"), person_by(session, "student")
        patient = session.get_one(Patient, patient_id)
        assign(session, owner, patient, pupil, now=site.clock())
    url = begin(student, patient_id)
    put(student, url, "tasks", task="kitchen", level="stand_by", helpers="1")
    put(student, url, "exit", all="done", **LEFT_ROOM)
    assert put(student, url, "close") == 303
    return url


def hand_in(client: TestClient, visit: str, own: str = OWN) -> int:
    said = {f"text-{LINE}": own, f"section-{LINE}": "assessment"}
    return client.post(f"{visit}/notes/visit/sign", data=said).status_code


def decide(client: TestClient, decision: str, **said: str) -> int:
    given = {"decision": decision, "passphrase": PASSPHRASE, **said}
    return client.post("/review/1/decision", data=given).status_code


def texts(site: Site) -> list[VisitText]:
    with read_session(site.engine) as session:
        return list(session.exec(select(VisitText).order_by(VisitText.id)))  # type: ignore[arg-type]


def test_handed_in_waits_on_the_desk_with_its_words(
    student: TestClient, supervisor: TestClient, visit: str
) -> None:
    assert hand_in(student, visit) == 303
    desk = supervisor.get("/desk").text
    page = supervisor.get(f"{visit}/review").text

    assert "Read and co-sign" in desk
    assert f'href="{visit}/review"' in desk
    assert OWN in page
    assert "A kitchen task: stand-by" in page
    assert "never pre-set" not in page
    ticked = found(page, "main").css("input[checked]")
    assert ticked == []


def test_handing_in_twice_is_handing_in_once(
    student: TestClient, visit: str, site: Site
) -> None:
    assert [hand_in(student, visit) for _ in range(3)] == [303] * 3
    assert len(texts(site)) == 1
    assert hand_in(student, visit, "other words") == 403


def test_co_signed_keeps_both_texts_and_leaves_the_desk(
    student: TestClient, supervisor: TestClient, visit: str, site: Site
) -> None:
    hand_in(student, visit)
    assert decide(supervisor, "co_sign", **SAID, minutes="45") == 303
    assert decide(supervisor, "co_sign", **SAID) != 303
    page = student.get(f"{visit}/review").text

    assert SAID["statement"] in page
    assert OWN in page
    assert "In the room the whole time, 45 min" in page
    assert "Read and co-sign" not in supervisor.get("/desk").text
    assert [t.lines.count(OWN) for t in texts(site)] == [1]


def test_returned_with_a_comment_on_a_line_is_written_anew(
    student: TestClient, supervisor: TestClient, visit: str, site: Site
) -> None:
    hand_in(student, visit)
    remark = {"line": "1", "words": "Which cues?"}
    assert supervisor.post("/review/1/comments", data=remark).status_code == 303
    assert decide(supervisor, "return", statement="Say more of the cues.") == 303
    told = student.get(f"{visit}/review").text
    waits = student.get("/caseload").text
    again = hand_in(student, visit, "Verbal cues, twice.")

    assert "Which cues?" in told
    assert "Say more of the cues." in told
    assert again == 303
    assert f'href="{visit}/notes/visit"' in waits
    assert "Returned to you" in waits
    assert "Returned to you" not in student.get("/caseload").text
    assert "Returned to you" not in supervisor.get("/caseload").text
    first, second = texts(site)
    assert second.previous_hash == first.hash
    assert OWN in first.lines
    assert set(second.lines) - set(first.lines) == {"Verbal cues, twice."}
    assert "Which cues?" not in "".join(second.lines)


@pytest.mark.parametrize(
    ("decision", "said", "field"),
    [
        ("", {}, "decision"),
        ("return", {}, "statement"),
        ("co_sign", {"presence": "in_room"}, "statement"),
        ("co_sign", {"statement": "I was there."}, "presence"),
        ("co_sign", SAID | {"minutes": "601"}, "minutes"),
        ("co_sign", SAID | {"passphrase": "wrong"}, "passphrase"),
    ],
)
def test_decision_needs_ones_own_words_presence_and_passphrase(
    student: TestClient,
    supervisor: TestClient,
    visit: str,
    site: Site,
    decision: str,
    said: dict[str, str],
    field: str,
) -> None:
    hand_in(student, visit)
    given = {"decision": decision, "passphrase": PASSPHRASE, **said}
    answer = supervisor.post("/review/1/decision", data=given)

    assert answer.status_code == 422
    assert found(answer.text, f"#{field}-error").text()
    with read_session(site.engine) as session:
        assert session.exec(select(ReviewDecision)).all() == []


def test_nobody_but_a_supervisor_decides(
    student: TestClient, therapist: TestClient, visit: str
) -> None:
    hand_in(student, visit)

    assert decide(student, "approve") == 403
    assert decide(therapist, "approve") == 403


def test_open_visit_is_not_handed_in(
    student: TestClient, visit: str, site: Site
) -> None:
    put(student, visit, "resume")

    assert hand_in(student, visit) == 403
    assert texts(site) == []


def test_therapist_signs_with_the_passphrase(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    url = begin(therapist, patient_id)
    put(therapist, url, "close", without="called away")
    bare = therapist.post(f"{url}/notes/visit/sign")
    sure = {"passphrase": PASSPHRASE}
    signed = therapist.post(f"{url}/notes/visit/sign", data=sure)

    assert bare.status_code == 422
    assert signed.status_code == 303
    assert [t.kind for t in texts(site)] == ["signed"]


@pytest.mark.parametrize(
    ("change", "row"),
    [
        ("UPDATE visit_text SET parts = NULL", "visit_text 1"),
        ("UPDATE visit_text SET edition = 'x'", "visit_text 1"),
        ("UPDATE review_decision SET statement = 'Absent'", "review_decision 1"),
    ],
)
def test_changed_word_is_found(
    student: TestClient,
    supervisor: TestClient,
    visit: str,
    site: Site,
    change: str,
    row: str,
) -> None:
    hand_in(student, visit)
    decide(supervisor, "co_sign", **SAID)
    with read_session(site.engine) as session:
        assert broken_texts(session) == []
    with write_session(site.engine) as session:
        session.connection().execute(text(change))
    with read_session(site.engine) as session:
        assert broken_texts(session) == [row]


def test_visit_says_how_far_the_students_note_is(
    student: TestClient, supervisor: TestClient, visit: str
) -> None:
    def says() -> str:
        return found(student.get(visit).text, "main").css("p.card")[0].text()

    closed = says()
    hand_in(student, visit)
    waits = says()
    assert decide(supervisor, "co_sign", **SAID) == 303

    assert "Not valid until its note is handed in" in closed
    assert "waits for a supervisor" in waits
    assert "A supervisor has co-signed its note" in says()


def test_closed_visit_puts_its_note_first(student: TestClient, visit: str) -> None:
    page = student.get(visit).text
    before = page.index("Finish the visit note")

    assert before < page.index("Go on with the visit") < page.index("Hello")
