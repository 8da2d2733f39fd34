"""What follows a stop: rows that are added to, never edited, and who looks into it."""

from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, select

from app.clinical import make_safe
from app.storage import safety
from app.storage.assignments import Assignment
from app.storage.audit import AuditEntry
from app.storage.database import read_session, write_session
from app.storage.errors import NotAllowed, NotFound
from app.storage.patients import Patient
from app.storage.people import Person
from app.storage.safety import Stop
from app.storage.safety_rows import SafetyEvent, SafetySymptom
from app.storage.trials import Trial, TrialBody, void_trial
from tests.asked import Query
from tests.make import (
    NOW,
    make_episode,
    make_patient,
    make_person,
    make_round,
    make_trial,
    make_visit,
)
from tests.storage.conftest import Ward

STOPPED = TrialBody(outcome="stopped")
LATER = NOW + timedelta(minutes=3)


@pytest.fixture
def stopped(ward: Ward) -> Trial:
    with write_session(ward.engine) as session:
        return make_trial(session, ward.therapist, ward.round, STOPPED)


def say(
    ward: Ward,
    trial: Trial,
    *,
    base: int | None = None,
    by: Person | None = None,
    **said: Any,
) -> Stop:
    with write_session(ward.engine) as session:
        return safety.record_answers(
            session, by or ward.therapist, trial.id, said, base_id=base, now=LATER
        )


def rows(ward: Ward) -> list[SafetyEvent]:
    with read_session(ward.engine) as session:
        wanted = select(SafetyEvent).order_by(col(SafetyEvent.id))
        return list(session.exec(wanted))


def now_said(ward: Ward, trial: Trial) -> safety.Answers:
    with read_session(ward.engine) as session:
        return safety.stop_for(session, ward.therapist, trial.id).answers


def test_stop_begins_with_nothing_said(ward: Ward, stopped: Trial) -> None:
    with read_session(ward.engine) as session:
        stop = safety.stop_for(session, ward.therapist, stopped.id)

    assert stop.answers == safety.Answers()
    assert stop.is_open
    assert (stop.patient_id, stop.by) == (ward.patient.id, "Therapist")
    assert rows(ward) == []


def test_everything_said_comes_back(ward: Ward, stopped: Trial) -> None:
    said: dict[str, Any] = {
        "what": "lowered",
        "head_strike": "no",
        "blood_thinner": "unknown",
        "symptoms": frozenset({"dizzy", "faint"}),
        "called": "nurse in charge",
        "called_at": LATER,
        "systolic": 98,
        "diastolic": 55,
        "heart_rate": 110,
        "saturation": 93,
        "position": "lying",
        "note": "Colour came back after two minutes.",
    }
    say(ward, stopped, **said)

    assert now_said(ward, stopped) == safety.Answers(**said)


def test_correction_is_a_new_row_that_names_the_old(ward: Ward, stopped: Trial) -> None:
    first = say(ward, stopped, what="lowered")
    say(ward, stopped, base=first.event_id, what="fell")

    old, new = rows(ward)
    assert (old.what, old.replaces_id) == ("lowered", None)
    assert (new.what, new.replaces_id) == ("fell", old.id)
    assert now_said(ward, stopped).what == "fell"


def test_same_answers_again_add_nothing(ward: Ward, stopped: Trial) -> None:
    first = say(ward, stopped, what="fell", symptoms=frozenset({"dizzy"}))
    say(ward, stopped, what="fell", symptoms=frozenset({"dizzy"}))
    say(ward, stopped, base=first.event_id, what="fell")

    assert len(rows(ward)) == 1


def test_two_people_do_not_undo_each_other(ward: Ward, stopped: Trial) -> None:
    """Both filled their form from the first row."""
    first = say(ward, stopped, what="fell").event_id
    say(ward, stopped, base=first, what="fell", called="doctor on duty", note="")
    say(
        ward, stopped, base=first, by=ward.supervisor,
        what="fell", called="", note="No pain.",
    )  # fmt: skip

    answers = now_said(ward, stopped)
    assert (answers.called, answers.note) == ("doctor on duty", "No pain.")
    assert [row.recorded_by for row in rows(ward)][-1] == ward.supervisor.id


def test_answer_can_be_taken_back(ward: Ward, stopped: Trial) -> None:
    both = frozenset({"dizzy", "pain"})
    first = say(ward, stopped, symptoms=both, note="x").event_id
    say(ward, stopped, base=first, symptoms=frozenset({"pain"}), note="")

    assert now_said(ward, stopped) == safety.Answers(symptoms=frozenset({"pain"}))


def test_pressures_of_two_readings_are_not_mixed(ward: Ward, stopped: Trial) -> None:
    first = say(ward, stopped, systolic=140, diastolic=80).event_id
    say(ward, stopped, base=first, systolic=90, diastolic=60)
    say(ward, stopped, base=first, systolic=140, diastolic=95)

    answers = now_said(ward, stopped)
    assert (answers.systolic, answers.diastolic) == (140, 95)


def test_row_of_another_stop_is_no_base(ward: Ward, stopped: Trial) -> None:
    with write_session(ward.engine) as session:
        other = make_trial(session, ward.therapist, ward.round, STOPPED)
    foreign = say(ward, other, what="fell").event_id
    say(ward, stopped, base=foreign, what="fell")

    assert now_said(ward, stopped).what == "fell"


def test_each_deed_is_in_the_audit_trail(ward: Ward, stopped: Trial) -> None:
    say(ward, stopped, what="fell")
    with write_session(ward.engine) as session:
        safety.mark_seen(session, ward.supervisor, stopped.id, LATER)

    with read_session(ward.engine) as session:
        wanted = select(AuditEntry).order_by(col(AuditEntry.id).desc()).limit(2)
        told = {(e.deed, e.subject, e.person_id) for e in session.exec(wanted)}
    assert told == {
        ("recorded_safety_event", "safety_event", ward.therapist.id),
        ("looked_into_stop", "safety_seen", ward.supervisor.id),
    }


def test_trial_that_was_not_stopped_has_no_stop(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        trial = make_trial(session, ward.therapist, ward.round)

        with pytest.raises(NotFound):
            safety.stop_for(session, ward.therapist, trial.id)


def test_outsider_neither_sees_nor_answers(ward: Ward, stopped: Trial) -> None:
    with write_session(ward.engine) as session:
        with pytest.raises(NotFound):
            safety.stop_for(session, ward.outsider, stopped.id)
        with pytest.raises(NotFound):
            safety.mark_seen(session, ward.outsider, stopped.id, LATER)
    with pytest.raises(NotFound):
        say(ward, stopped, by=ward.outsider, what="fell")
    assert rows(ward) == []


def brief(ward: Ward) -> list[int]:
    with read_session(ward.engine) as session:
        found = safety.open_stops_of(session, ward.patient.id)
    return [stop.row.id for stop in found]


@pytest.mark.parametrize("who", ["therapist", "supervisor"])
def test_stop_leaves_the_brief_when_looked_into(
    ward: Ward, stopped: Trial, who: str
) -> None:
    before = brief(ward)
    with write_session(ward.engine) as session:
        safety.mark_seen(session, getattr(ward, who), stopped.id, LATER)

    assert (before, brief(ward)) == ([stopped.id], [])


def test_looking_twice_is_looking_once(ward: Ward, stopped: Trial) -> None:
    with write_session(ward.engine) as session:
        safety.mark_seen(session, ward.supervisor, stopped.id, LATER)
        stop = safety.mark_seen(session, ward.supervisor, stopped.id, LATER)

    assert [row.role for row in stop.seen] == ["supervisor"]


def void(session: Session, ward: Ward, trial: Trial) -> None:
    mine = session.get_one(Trial, trial.id)
    void_trial(session, ward.therapist, mine, reason="wrong button", now=LATER)


@pytest.mark.parametrize(
    ("said", "shown"), [({}, False), ({"what": "fell"}, True)],
    ids=["a slip of the finger", "something happened"],
)  # fmt: skip
def test_voided_stop_stays_when_something_was_said(
    ward: Ward, stopped: Trial, said: dict[str, Any], shown: bool
) -> None:
    say(ward, stopped, **said)
    with write_session(ward.engine) as session:
        void(session, ward, stopped)

    assert bool(brief(ward)) is shown


def student_stops(ward: Ward, student: Person) -> Trial:
    """The student's own patient, tested and stopped by the student."""
    with write_session(ward.engine) as session:
        name = f"mentor-{student.id}"
        mentor = people_by_handle(session, name) or make_person(
            session, name, is_demo=student.is_demo
        )
        patient = make_patient(session, mentor, label="Red 3")
        assign(session, patient, student)
        visit = make_visit(session, student, make_episode(session, mentor, patient))
        return make_trial(
            session, student, make_round(session, student, visit), STOPPED
        )


def people_by_handle(session: Session, handle: str) -> Person | None:
    return session.exec(select(Person).where(Person.handle == handle)).first()


def assign(session: Session, patient: Patient, to: Person) -> None:
    session.add(Assignment(patient_id=patient.id, person_id=to.id, since=NOW))
    session.flush()


def alerts(ward: Ward, person: Person) -> list[int]:
    with read_session(ward.engine) as session:
        return [stop.row.id for stop in safety.students_stops(session, person)]


def test_students_stop_alerts_the_supervisor_and_nobody_else(
    ward: Ward, stopped: Trial
) -> None:
    theirs = student_stops(ward, ward.student)

    assert stopped.id != theirs.id
    assert alerts(ward, ward.supervisor) == [theirs.id]
    for person in (ward.therapist, ward.student, ward.outsider):
        assert alerts(ward, person) == []


def test_demo_and_real_alerts_never_meet(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        student = make_person(session, "d-student", role="student", is_demo=True)
        chief = make_person(session, "d-chief", role="supervisor", is_demo=True)
    real, demo = student_stops(ward, ward.student), student_stops(ward, student)

    assert alerts(ward, ward.supervisor) == [real.id]
    assert alerts(ward, chief) == [demo.id]


def test_alert_ends_when_a_supervisor_has_looked(ward: Ward) -> None:
    """Not when a therapist has, nor when the student voids the trial."""
    theirs = student_stops(ward, ward.student)
    counted = [len(alerts(ward, ward.supervisor))]
    with write_session(ward.engine) as session:
        mine = session.get_one(Trial, theirs.id)
        void_trial(session, ward.student, mine, reason="by mistake", now=LATER)
    counted.append(len(alerts(ward, ward.supervisor)))
    with write_session(ward.engine) as session:
        mentor = session.exec(
            select(Person).where(Person.handle == f"mentor-{ward.student.id}")
        ).one()
        safety.mark_seen(session, mentor, theirs.id, LATER)
    counted.append(len(alerts(ward, ward.supervisor)))
    with write_session(ward.engine) as session:
        safety.mark_seen(session, ward.supervisor, theirs.id, LATER)
    counted.append(len(alerts(ward, ward.supervisor)))

    assert counted == [1, 1, 1, 0]


def test_student_cannot_look_into_it(ward: Ward) -> None:
    theirs = student_stops(ward, ward.student)

    with write_session(ward.engine) as session, pytest.raises(NotAllowed):
        safety.mark_seen(session, ward.student, theirs.id, LATER)


BAD = [
    "what = 'slipped'",
    "head_strike = 'maybe'",
    "blood_thinner = ''",
    "position = 'kneeling'",
    "systolic = 39",
    "systolic = 301",
    "diastolic = 19",
    "heart_rate = 301",
    "saturation = 101",
    "saturation = 39",
    "systolic = 80, diastolic = 80",
    f"called = '{'x' * 201}'",
    f"note = '{'x' * 1001}'",
]


@pytest.mark.parametrize("to", BAD)
def test_database_refuses_what_no_form_may_say(
    ward: Ward, stopped: Trial, to: str
) -> None:
    say(ward, stopped, what="fell")

    with (
        pytest.raises(IntegrityError, match=r"(?i)check constraint"),
        write_session(ward.engine) as session,
    ):
        session.connection().execute(text(f"UPDATE safety_event SET {to}"))


BREAKING: list[tuple[str, str]] = [
    ("UPDATE safety_symptom SET symptom = 'sad'", r"(?i)check constraint"),
    ("UPDATE safety_seen SET role = 'student'", r"(?i)check constraint"),
    ("UPDATE safety_event SET trial_id = 99999", r"(?i)foreign key"),
    ("UPDATE safety_event SET replaces_id = NULL", r"(?i)unique"),
    ("UPDATE safety_event SET replaces_id = 1 WHERE id > 1", r"(?i)unique"),
]


@pytest.mark.parametrize(("statement", "why"), BREAKING)
def test_database_keeps_the_chain_whole(
    ward: Ward, stopped: Trial, statement: str, why: str
) -> None:
    first = say(ward, stopped, symptoms=frozenset({"pain"}))
    second = say(ward, stopped, base=first.event_id, what="fell")
    say(ward, stopped, base=second.event_id, what="seated")
    with write_session(ward.engine) as session:
        safety.mark_seen(session, ward.therapist, stopped.id, LATER)

    with (
        pytest.raises(IntegrityError, match=why),
        write_session(ward.engine) as session,
    ):
        session.connection().execute(text(statement))


def test_every_symptom_of_the_list_is_taken(ward: Ward, stopped: Trial) -> None:
    say(ward, stopped, symptoms=frozenset(make_safe.SYMPTOMS))

    with read_session(ward.engine) as session:
        kept = set(session.exec(select(SafetySymptom.symptom)))
    assert kept == set(make_safe.SYMPTOMS)


def test_list_of_stops_does_not_grow_in_queries(
    ward: Ward, reached: list[Query]
) -> None:
    for _ in range(3):
        student_stops(ward, ward.student)
    reached.clear()
    with read_session(ward.engine) as session:
        found = safety.students_stops(session, ward.supervisor)

    assert len(found) == 3
    assert len(reached) <= 4
