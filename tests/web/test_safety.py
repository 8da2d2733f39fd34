"""After a stop for safety: the panel leads, nothing blocks, somebody looks into it."""

from collections.abc import Callable
from datetime import UTC, datetime, time

import pytest
from selectolax.lexbor import LexborHTMLParser, LexborNode
from sqlmodel import col, select
from starlette.testclient import TestClient

from app.storage import safety
from app.storage.assignments import Assignment
from app.storage.audit import AuditEntry
from app.storage.database import read_session, write_session
from app.storage.safety_rows import SafetyEvent
from app.storage.trials import Trial
from app.web.deps import Site
from app.web.safety_form import nearest
from tests.conftest import Clock, found, person_by
from tests.make import NOW, ZONE, make_patient, make_person
from tests.web.bedside import a_round, send

HTMX = {"hx-request": "true"}
STANDS = "five_times_sit_to_stand"
LABEL = "Blue 7"


@pytest.fixture
def stop(therapist: TestClient, patient_id: int, site: Site) -> str:
    """The address of a trial that the therapist has just stopped."""
    send(therapist, a_round(therapist, patient_id, STANDS), outcome="stopped")
    return newest(site)


def newest(site: Site) -> str:
    with read_session(site.engine) as session:
        ids = session.exec(select(Trial.id).order_by(col(Trial.id).desc()))
        return f"/trials/{ids.first()}"


def said(site: Site) -> list[SafetyEvent]:
    with read_session(site.engine) as session:
        return list(session.exec(select(SafetyEvent).order_by(col(SafetyEvent.id))))


def answers(site: Site, stop: str) -> safety.Answers:
    with read_session(site.engine) as session:
        me = person_by(session, "therapist")
        return safety.stop_for(session, me, int(stop.split("/")[2])).answers


def note(client: TestClient, stop: str, **fields: str | list[str]) -> int:
    answer = client.post(f"{stop}/safety", data={"asked": "details", **fields})
    return answer.status_code


def test_stopped_trial_is_answered_by_the_panel(
    therapist: TestClient, patient_id: int
) -> None:
    url = a_round(therapist, patient_id, STANDS)
    fragment = therapist.post(
        f"{url}/trials", data={"outcome": "stopped"}, headers=HTMX
    ).text
    page = therapist.get(url).text

    for html in (fragment, page):
        choices = [b.attributes["value"] for b in found_all(html, ".whats button")]
        assert choices == ["seated", "lowered", "fell"]
        assert html.index('id="make-safe"') < html.index('aria-label="Result"')
        assert "Follow your local fall procedure" in html


def found_all(html: str, css: str) -> list[LexborNode]:
    return LexborHTMLParser(html).css(css)


def test_completed_trial_has_no_panel(therapist: TestClient, patient_id: int) -> None:
    url = a_round(therapist, patient_id, STANDS)
    send(therapist, url, typed="16.2")

    assert 'id="make-safe"' not in therapist.get(url).text


@pytest.mark.parametrize(
    ("what", "step"),
    [
        ("seated", "Keep them seated"),
        ("lowered", "Do not move them yet"),
        ("fell", "blood thinner is urgent"),
    ],
)
def test_choice_is_saved_at_once_and_says_what_to_do(
    therapist: TestClient, site: Site, stop: str, what: str, step: str
) -> None:
    answer = therapist.post(f"{stop}/safety", data={"what": what}, headers=HTMX)

    assert "<html" not in answer.text
    assert step in answer.text
    assert [row.what for row in said(site)] == [what]


def test_choice_without_script_leads_back_to_the_round(
    therapist: TestClient, stop: str
) -> None:
    answer = therapist.post(f"{stop}/safety", data={"what": "fell"})

    location = answer.headers["location"]
    assert answer.status_code == 303
    assert location.endswith("#make-safe")
    pressed = found(therapist.get(location).text, ".whats [aria-pressed=true]")
    assert pressed.attributes["value"] == "fell"


@pytest.mark.parametrize(("what", "asked"), [("seated", False), ("lowered", True)])
def test_head_and_blood_thinner_are_asked_on_the_floor(
    therapist: TestClient, stop: str, what: str, asked: bool
) -> None:
    page = therapist.post(f"{stop}/safety", data={"what": what}, headers=HTMX).text

    assert ('name="head_strike"' in page) is asked
    assert ('name="blood_thinner"' in page) is asked


def test_details_are_kept_and_shown_again(
    therapist: TestClient, site: Site, stop: str
) -> None:
    therapist.post(f"{stop}/safety", data={"what": "fell"})
    status = note(
        therapist, stop, base=str(said(site)[-1].id),
        head_strike="yes", blood_thinner="unknown", symptom=["dizzy", "pain"],
        called="nurse in charge", called_at="09:40", systolic="98", diastolic="55",
        heart_rate="110", saturation="93", position="lying", note="Pale at first.",
    )  # fmt: skip

    kept = answers(site, stop)
    assert status == 303
    assert (kept.what, kept.head_strike, kept.blood_thinner) == (
        "fell",
        "yes",
        "unknown",
    )
    assert kept.symptoms == {"dizzy", "pain"}
    assert kept.called_at == datetime(2026, 3, 2, 9, 40, tzinfo=UTC)
    assert (kept.systolic, kept.diastolic, kept.heart_rate) == (98, 55, 110)
    page = therapist.get(f"{stop}/safety").text
    assert found(page, "#called").attributes["value"] == "nurse in charge"
    assert found(page, "#called_at").attributes["value"] == "09:40"
    assert found(page, "#systolic").attributes["value"] == "98"
    assert found(page, "#note").text() == "Pale at first."
    assert found(page, "[name=position]:checked, [value=lying][checked]")


def test_every_answer_may_stay_open(
    therapist: TestClient, site: Site, stop: str
) -> None:
    assert note(therapist, stop) == 303
    assert said(site) == []


def test_saved_choice_is_answered_in_its_line_only(
    therapist: TestClient, stop: str
) -> None:
    data = {"asked": "details", "symptom": "dizzy"}
    answer = therapist.post(f"{stop}/safety", data=data, headers=HTMX)

    assert "<form" not in answer.text
    assert "Saved." in answer.text
    assert found(answer.text, "[name=base]").attributes["value"]


BAD = [
    ("systolic", "301", "40 to 300 mmHg"),
    ("systolic", "12O", "40 to 300 mmHg"),
    ("diastolic", "19", "20 to 200 mmHg"),
    ("heart_rate", "-60", "20 to 300"),
    ("saturation", "101", "40 to 100"),
    ("saturation", "93.5", "whole number"),
    ("called_at", "25:00", "14:05"),
    ("called_at", "soon", "14:05"),
    ("called", "x" * 201, "200 letters"),
    ("note", "x" * 1001, "1000 letters"),
]


@pytest.mark.parametrize(("name", "typed", "told"), BAD)
def test_bad_field_is_told_and_costs_no_other(
    therapist: TestClient, site: Site, stop: str, name: str, typed: str, told: str
) -> None:
    data = {"asked": "details", "symptom": "dizzy", name: typed}
    answer = therapist.post(f"{stop}/safety", data=data)

    assert answer.status_code == 422
    assert found(answer.text, "[aria-invalid=true]").attributes["name"] == name
    assert told in found(answer.text, f"#{name}-error").text()
    field = found(answer.text, f"#{name}")
    assert (field.attributes.get("value") or field.text()) == typed
    kept = answers(site, stop)
    assert kept.symptoms == {"dizzy"}
    assert not getattr(kept, name)


def test_script_gets_marks_and_keeps_its_form(
    therapist: TestClient, site: Site, stop: str
) -> None:
    """An answer must not take the place of a form in which somebody goes on typing."""
    data = {"asked": "details", "heart_rate": "500", "symptom": "pain"}
    answer = therapist.post(f"{stop}/safety", data=data, headers=HTMX)

    marks = {
        str(m.attributes["id"]): m.text()
        for m in found_all(answer.text, "[hx-swap-oob=true]")
    }
    assert answer.status_code == 200
    assert "<form" not in answer.text
    assert "Not saved: heart rate" in answer.text
    assert "20 to 300" in marks.pop("heart_rate-error")
    assert set(marks.values()) == {""}
    assert answers(site, stop).symptoms == {"pain"}


def test_form_of_before_anothers_note_does_not_undo_it(
    therapist: TestClient, supervisor: TestClient, site: Site, stop: str
) -> None:
    """Each form goes on saying all of its fields, the empty ones too."""
    supervisor.post(f"{stop}/safety", data={"asked": "details", "note": "Pale."})
    first = {"asked": "details", "base": "", "note": "", "symptom": "dizzy"}
    told = therapist.post(f"{stop}/safety", data=first, headers=HTMX).text
    base = found(told, "[name=base]").attributes["value"] or ""
    then = {"asked": "details", "base": base, "note": "", "called": "family"}
    therapist.post(f"{stop}/safety", data=then, headers=HTMX)

    assert "Somebody else" in told
    assert answers(site, stop).note == "Pale."
    assert answers(site, stop).called == "family"


def test_upper_pressure_below_the_lower_keeps_neither(
    therapist: TestClient, site: Site, stop: str
) -> None:
    assert note(therapist, stop, systolic="80", diastolic="90", heart_rate="70") == 422

    kept = answers(site, stop)
    assert (kept.systolic, kept.diastolic, kept.heart_rate) == (None, None, 70)


def test_unknown_words_are_left_out(
    therapist: TestClient, site: Site, stop: str
) -> None:
    therapist.post(f"{stop}/safety", data={"what": "flew", "symptom": "sad"})

    assert said(site) == []


@pytest.mark.parametrize(
    ("clock", "stopped", "expected"),
    [
        ("14:05", "2026-03-02T14:00:00+01:00", "2026-03-02T14:05:00+01:00"),
        ("00:03", "2026-03-02T23:58:00+01:00", "2026-03-03T00:03:00+01:00"),
        ("23:59", "2026-03-03T00:01:00+01:00", "2026-03-02T23:59:00+01:00"),
    ],
    ids=["same day", "after midnight", "before midnight"],
)
def test_call_is_dated_nearest_to_the_stop(
    clock: str, stopped: str, expected: str
) -> None:
    found = nearest(time.fromisoformat(clock), datetime.fromisoformat(stopped), ZONE)

    assert found == datetime.fromisoformat(expected)


def test_stop_stays_on_the_brief_until_looked_into(
    therapist: TestClient, patient_id: int, site: Site, stop: str
) -> None:
    therapist.post(f"{stop}/safety", data={"what": "lowered"})
    note(therapist, stop, base=str(said(site)[-1].id), symptom="dizzy")
    brief = f"/patients/{patient_id}"
    before = therapist.get(brief).text
    answer = therapist.post(f"{stop}/seen", data={"back": "patient"})
    after = therapist.get(brief).text

    words = "Stopped for safety 2 Mar: lowered to the floor, dizzy"
    assert words in before
    assert answer.headers["location"] == brief
    assert words not in after
    with read_session(site.engine) as session:
        round_id = session.exec(select(Trial.round_id)).one()
    assert words in therapist.get(f"/rounds/{round_id}").text


@pytest.mark.parametrize("who", ["colleague", "outsider", "student"])
def test_nobody_else_sees_or_answers_a_stop(
    request: pytest.FixtureRequest, site: Site, stop: str, who: str
) -> None:
    other: TestClient = request.getfixturevalue(who)
    statuses = [
        other.get(f"{stop}/safety").status_code,
        other.post(f"{stop}/safety", data={"what": "fell"}).status_code,
        other.post(f"{stop}/seen").status_code,
    ]

    assert statuses == [404, 404, 404]
    assert said(site) == []


def test_trial_that_was_not_stopped_has_no_safety_page(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    send(therapist, a_round(therapist, patient_id, STANDS), typed="16.2")

    assert therapist.get(f"{newest(site)}/safety").status_code == 404


SignIn = Callable[[str], TestClient]


@pytest.fixture
def students_stop(
    student: TestClient, site: Site, patient_id: int, therapist: TestClient
) -> str:
    """The student, assigned to the therapist's patient, has stopped a trial."""
    with write_session(site.engine) as session:
        learner = person_by(session, "student")
        session.add(Assignment(patient_id=patient_id, person_id=learner.id, since=NOW))
    assert therapist.get("/caseload").status_code == 200
    url = a_round(student, patient_id, STANDS)
    assert send(student, url, outcome="stopped").status_code == 303
    return newest(site)


HEADING = "Look into: stopped for safety"


def test_students_stop_leads_every_supervisors_list(
    students_stop: str, supervisor: TestClient, sign_in_as: SignIn, site: Site
) -> None:
    with write_session(site.engine) as session:
        make_person(session, "second", role="supervisor")
    both = (supervisor, sign_in_as("second"))
    lists = [chief.get("/caseload").text for chief in both]

    for html in lists:
        assert html.index(HEADING) < html.index('class="people"')
        alert = found(html, "[aria-label='Stopped for safety']").text()
        assert LABEL in alert
        assert "recorded by Student" in alert
    assert supervisor.get(f"{students_stop}/safety").status_code == 200


@pytest.mark.usefixtures("students_stop")
def test_students_stop_alerts_nobody_else(
    therapist: TestClient,
    student: TestClient,
    colleague: TestClient,
    sign_in_as: SignIn,
    site: Site,
) -> None:
    with write_session(site.engine) as session:
        chief = make_person(session, "demo-chief", role="supervisor", is_demo=True)
        make_patient(session, chief, label="Invented 1")
    everyone = [therapist, student, colleague, sign_in_as("demo-chief")]

    assert [HEADING in who.get("/caseload").text for who in everyone] == [False] * 4


def test_alert_ends_with_the_supervisors_look(
    students_stop: str, supervisor: TestClient, therapist: TestClient, site: Site
) -> None:
    therapist.post(f"{students_stop}/seen", data={"back": "round"})
    after_therapist = HEADING in supervisor.get("/caseload").text
    answer = supervisor.post(f"{students_stop}/seen", data={"back": "caseload"})

    assert after_therapist
    assert answer.headers["location"] == "/caseload"
    assert HEADING not in supervisor.get("/caseload").text
    with read_session(site.engine) as session:
        wanted = select(AuditEntry.deed).order_by(col(AuditEntry.id))
        deeds = list(session.exec(wanted))
    assert deeds.count("looked_into_stop") == 2


def test_student_cannot_call_it_looked_into(
    students_stop: str, student: TestClient
) -> None:
    assert student.post(f"{students_stop}/seen").status_code == 403
    page = student.get(f"{students_stop}/safety").text
    assert "until a therapist or supervisor" in page
    assert "/seen" not in page


def test_year_is_said_when_it_is_another(
    sign_in_as: SignIn, stop: str, clock: Clock
) -> None:
    clock.move(days=400)

    page = sign_in_as("therapist").get(f"{stop}/safety").text
    assert "Stopped for safety 2 Mar 2026" in page
