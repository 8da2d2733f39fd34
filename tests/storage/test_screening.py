"""Answers to screening questions: added, never changed; the latest of each holds."""

from datetime import timedelta

import pytest
from sqlalchemy.exc import IntegrityError
from sqlmodel import col, select

from app.storage.audit import AuditEntry
from app.storage.database import read_session, write_session
from app.storage.errors import NotFound
from app.storage.people import Person
from app.storage.purge import purge
from app.storage.screening import Answer, PathwayAnswer, answer, answers_of
from tests.make import NOW, TODAY
from tests.storage.conftest import Ward

TOMORROW = TODAY + timedelta(days=1)


def say(ward: Ward, *, day: int = 0, by: Person | None = None, **said: str) -> int:
    """Answer some days later; how many rows were added."""
    with write_session(ward.engine) as session:
        on, now = TODAY + timedelta(days=day), NOW + timedelta(days=day)
        who = by or ward.therapist
        return len(answer(session, who, ward.patient.id, said, day=on, now=now))


def held(ward: Ward) -> dict[str, Answer]:
    with read_session(ward.engine) as session:
        return answers_of(session, ward.patient)


def test_latest_answer_holds_and_the_earlier_one_stays(ward: Ward) -> None:
    say(ward, unsteady="no", worried="yes")
    say(ward, day=1, unsteady="yes")

    assert held(ward) == {
        "unsteady": Answer("yes", TOMORROW),
        "worried": Answer("yes", TODAY),
    }
    with read_session(ward.engine) as session:
        kept = session.exec(
            select(PathwayAnswer.value).order_by(col(PathwayAnswer.id))
        ).all()
    assert kept == ["no", "yes", "yes"]


def test_same_answer_counts_once_a_day(ward: Ward) -> None:
    assert say(ward, unsteady="no") == 1
    assert say(ward, unsteady="no") == 0
    assert say(ward, day=1, unsteady="no") == 1


def test_answer_taken_back_is_none(ward: Ward) -> None:
    say(ward, self_check="5")
    say(ward, self_check="")

    assert held(ward) == {}


@pytest.mark.parametrize(
    ("question", "value"),
    [("unsteady", "maybe"), ("self_check", "15"), ("self_check", "-1")],
)
def test_answer_outside_the_list_is_refused(
    ward: Ward, question: str, value: str
) -> None:
    said = {question: value}
    with (
        pytest.raises(ValueError, match="has no answer"),
        write_session(ward.engine) as session,
    ):
        answer(session, ward.therapist, ward.patient.id, said, day=TODAY, now=NOW)


def test_question_outside_the_list_is_refused_by_the_database(ward: Ward) -> None:
    row = PathwayAnswer(
        patient_id=ward.patient.id, on_date=TODAY, question="shoe_size", value="9",
        answered_at=NOW, answered_by=ward.therapist.id,
    )  # fmt: skip
    with pytest.raises(IntegrityError), write_session(ward.engine) as session:
        session.add(row)


def test_outsider_answers_for_nobody(ward: Ward) -> None:
    with pytest.raises(NotFound):
        say(ward, by=ward.outsider, unsteady="no")


def test_audit_keeps_the_deed_and_no_answer(ward: Ward) -> None:
    say(ward, unsteady="yes")
    with read_session(ward.engine) as session:
        wanted = select(AuditEntry).where(AuditEntry.deed == "answered_pathway")
        (entry,) = session.exec(wanted).all()

    assert entry.subject == "pathway_answer"
    assert "yes" not in str(entry.model_dump())


def test_purging_takes_the_answers_along(ward: Ward) -> None:
    say(ward, unsteady="yes")
    with write_session(ward.engine) as session:
        patient = session.merge(ward.patient)
        patient.closed_at = patient.archived_at = NOW
        session.add(patient)
        session.flush()
        gone = purge(session, ward.supervisor, patient.id, why="asked_for", now=NOW)

    assert gone["pathway_answer"] == 1
