"""Exercises and answers: append-only, private, the first answer stands."""

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from app.storage import exercises
from app.storage.database import read_session, write_session
from app.storage.errors import NotFound
from app.storage.exercises import (
    ExerciseAnswer,
    ExerciseShowing,
    answers_in,
    finished_of,
    history_of,
    showing_for,
    unfinished_of,
)
from tests.make import NOW, make_showing
from tests.storage.conftest import Ward


def say(
    session: Session,
    row: ExerciseShowing,
    step: str,
    right: bool = True,
    rule: str = "rounding",
) -> ExerciseAnswer:
    return exercises.answer(
        session, row, step=step, said="a", right=right, rule=rule, now=NOW
    )


def test_exercise_is_nobody_elses(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        row = make_showing(session, ward.therapist)
        say(session, row, "trials", right=False)

        assert showing_for(session, ward.therapist, row.id) is row
        with pytest.raises(NotFound):
            showing_for(session, ward.supervisor, row.id)
        with pytest.raises(NotFound):
            showing_for(session, ward.therapist, row.id + 1)
        assert history_of(session, ward.supervisor) == []
        assert finished_of(session, ward.supervisor) == []
        assert unfinished_of(session, ward.supervisor, "e.1") is None


def test_first_answer_stands(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        row = make_showing(session, ward.therapist)
        first = say(session, row, "trials", right=False)

        again = say(session, row, "trials", right=True)

        assert again is first
        assert [a.right for a in answers_in(session, row).values()] == [False]


def test_history_is_in_the_order_it_was_said(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        row = make_showing(session, ward.therapist)
        say(session, row, "trials", right=False, rule="void_trial")
        say(session, row, "score", right=True, rule="mean_rule")
    with read_session(ward.engine) as session:
        assert history_of(session, ward.therapist) == [
            ("void_trial", False),
            ("mean_rule", True),
        ]


def test_only_an_exercise_with_all_its_answers_is_finished(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        row = make_showing(session, ward.therapist)
        for step in exercises.STEPS[:-1]:
            say(session, row, step, right=step != "score")

        assert finished_of(session, ward.therapist) == []
        assert unfinished_of(session, ward.therapist, "e.1") == row.id
        assert unfinished_of(session, ward.therapist, "e.2") is None

        say(session, row, exercises.STEPS[-1])

        assert finished_of(session, ward.therapist) == [(1, 5, 6)]
        assert unfinished_of(session, ward.therapist, "e.1") is None


@pytest.mark.parametrize(
    ("table", "fault"),
    [
        ("exercise_showing", "seed = -1"),
        ("exercise_showing", "seed = 1.5"),
        ("exercise_showing", "level = 0"),
        ("exercise_showing", "level = 5"),
        ("exercise_showing", "measure = ''"),
        ("exercise_showing", "edition = ''"),
        ("exercise_showing", "rule = 'Not a key'"),
        ("exercise_showing", "steps = 7"),
        ("exercise_answer", "step = 'guess'"),
        ("exercise_answer", "said = ''"),
        ("exercise_answer", "rule = ''"),
        ("exercise_answer", "step = 'score'"),
    ],
)
def test_database_refuses(ward: Ward, table: str, fault: str) -> None:
    """The last: two answers to one step."""
    with write_session(ward.engine) as session:
        row = make_showing(session, ward.therapist)
        say(session, row, "trials")
        say(session, row, "score")
    if ward.engine.dialect.name == "postgresql" and "1.5" in fault:
        pytest.skip("PostgreSQL rounds into a whole column")

    with pytest.raises(IntegrityError), write_session(ward.engine) as session:
        session.execute(text(f"UPDATE {table} SET {fault}"))
