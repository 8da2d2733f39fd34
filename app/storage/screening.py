"""What a person answered to the questions of screening pathways; append-only.

The latest row of a question holds, with its day; an empty value takes an answer back.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

from sqlmodel import Field, Session

from app.clinical.screening import QUESTIONS
from app.storage import audit
from app.storage.patients import Patient, patient_for
from app.storage.people import Person
from app.storage.prepared import rows_by
from app.storage.tables import Numbered, length, one_of


class PathwayAnswer(Numbered, table=True):
    """One answer of one patient on one day. Written by `answer`, never changed."""

    __tablename__ = "pathway_answer"
    __table_args__ = (one_of("question", QUESTIONS), length("value", 0, 20))

    patient_id: int = Field(foreign_key="patient.id", index=True)
    on_date: date
    question: str
    value: str
    answered_at: datetime
    answered_by: int = Field(foreign_key="person.id")


@dataclass(frozen=True, slots=True)
class Answer:
    """A question's latest answer, the day it was given and when it was written."""

    value: str
    on_date: date
    at: datetime | None = field(default=None, compare=False)


def answers_of(session: Session, patient: Patient) -> dict[str, Answer]:
    """The latest answer to each question that has one."""
    latest = {
        row.question: Answer(row.value, row.on_date, row.answered_at)
        for row in _answers(session, patient.id)
    }
    return {key: given for key, given in latest.items() if given.value}


_answers = rows_by(PathwayAnswer, "patient_id", "id")


def answer(
    session: Session,
    person: Person,
    patient_id: int,
    said: Mapping[str, str],
    *,
    day: date,
    now: datetime,
) -> list[PathwayAnswer]:
    """Add what was said on `day`; what that day says already adds nothing.

    `said`: question to one of its answers, or "" to take it back.
    """
    patient = patient_for(session, person, patient_id, "record_visit")
    before = answers_of(session, patient)
    added = []
    for question, value in said.items():
        if value and not QUESTIONS[question].knows(value):
            raise ValueError(f"{question} has no answer {value!r}")
        if before.get(question, Answer("", day)) == Answer(value, day):
            continue
        row = PathwayAnswer(
            patient_id=patient.id,
            on_date=day,
            question=question,
            value=value,
            answered_at=now,
            answered_by=person.id,
        )
        session.add(row)
        session.flush()
        audit.deed(session, "answered_pathway", row, by=person.id, now=now)
        added.append(row)
    return added
