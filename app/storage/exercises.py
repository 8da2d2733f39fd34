"""Scoring practice: which exercise was shown to whom, and what they answered.

Append-only and each person's own: nobody else is given these rows. An exercise itself
is not kept, since its seed makes it again for the same edition.
"""

from collections.abc import Sequence
from datetime import datetime
from typing import Final

from sqlalchemy import UniqueConstraint, case
from sqlmodel import Field, Session, col, func, select

from app.storage.errors import NotFound
from app.storage.people import Person
from app.storage.tables import Numbered, between, length, one_of, word

#: The steps of an exercise, as the pure part names them.
STEPS: Final = ("trials", "score", "set_up", "source", "change", "line")
LARGEST_SEED: Final = 2**31 - 1
#: How many latest answers say what comes next.
LATEST: Final = 400


class ExerciseShowing(Numbered, table=True):
    """One exercise as it was drawn for one person. Written by `show`, never changed.

    `rule` is the rule it was drawn for, `steps` how many it has.
    """

    __tablename__ = "exercise_showing"
    __table_args__ = (
        between("seed", 0, LARGEST_SEED),
        length("measure", 1, 60),
        between("level", 1, 4),
        length("edition", 1, 40),
        word("rule"),
        between("steps", 1, len(STEPS)),
    )

    person_id: int = Field(foreign_key="person.id", index=True)
    seed: int
    measure: str
    level: int
    edition: str
    rule: str
    steps: int
    shown_at: datetime


class ExerciseAnswer(Numbered, table=True):
    """What was said at one step and whether it was right; the first answer stands."""

    __tablename__ = "exercise_answer"
    __table_args__ = (
        one_of("step", STEPS),
        length("said", 1, 40),
        word("rule"),
        UniqueConstraint("showing_id", "step"),
    )

    showing_id: int = Field(foreign_key="exercise_showing.id")
    step: str
    said: str
    right: bool
    rule: str
    at: datetime


def show(
    session: Session,
    person: Person,
    *,
    seed: int,
    measure: str,
    level: int,
    edition: str,
    rule: str,
    steps: int,
    now: datetime,
) -> ExerciseShowing:
    """Keep which exercise this person is given, before its page is served."""
    row = ExerciseShowing(
        person_id=person.id,
        seed=seed,
        measure=measure,
        level=level,
        edition=edition,
        rule=rule,
        steps=steps,
        shown_at=now,
    )
    session.add(row)
    session.flush()
    return row


def showing_for(session: Session, person: Person, showing_id: int) -> ExerciseShowing:
    """An exercise of this person's own; anybody else's is not there."""
    row = session.get(ExerciseShowing, showing_id)
    if row is None or row.person_id != person.id:
        raise NotFound("There is no such exercise.")
    return row


def answers_in(session: Session, showing: ExerciseShowing) -> dict[str, ExerciseAnswer]:
    """What was answered so far, by step, in the order it was."""
    wanted = select(ExerciseAnswer).where(ExerciseAnswer.showing_id == showing.id)
    rows = session.exec(wanted.order_by(col(ExerciseAnswer.id)))
    return {row.step: row for row in rows}


def answer(
    session: Session,
    showing: ExerciseShowing,
    *,
    step: str,
    said: str,
    right: bool,
    rule: str,
    now: datetime,
) -> ExerciseAnswer:
    """Keep an answer. A second one to the same step changes nothing."""
    before = answers_in(session, showing).get(step)
    if before is not None:
        return before
    row = ExerciseAnswer(
        showing_id=showing.id, step=step, said=said, right=right, rule=rule, at=now
    )
    session.add(row)
    session.flush()
    return row


def history_of(session: Session, person: Person) -> list[tuple[str, bool]]:
    """Rule and whether it was right, of this person's latest answers, oldest first."""
    wanted = (
        select(ExerciseAnswer.rule, ExerciseAnswer.right)
        .join(
            ExerciseShowing, col(ExerciseShowing.id) == col(ExerciseAnswer.showing_id)
        )
        .where(ExerciseShowing.person_id == person.id)
        .order_by(col(ExerciseAnswer.id).desc())
        .limit(LATEST)
    )
    return [(rule, right) for rule, right in session.exec(wanted)][::-1]


def finished_of(session: Session, person: Person) -> list[tuple[int, int, int]]:
    """Level, steps right and steps asked of each finished exercise, oldest first."""
    ticks = func.sum(case((col(ExerciseAnswer.right), 1), else_=0))
    asked = func.count(col(ExerciseAnswer.id))
    wanted = (
        select(ExerciseShowing.level, ticks, asked)
        .join(
            ExerciseAnswer, col(ExerciseAnswer.showing_id) == col(ExerciseShowing.id)
        )
        .where(ExerciseShowing.person_id == person.id)
        .group_by(
            col(ExerciseShowing.id), col(ExerciseShowing.level),
            col(ExerciseShowing.steps),
        )
        .having(asked == col(ExerciseShowing.steps))
        .order_by(func.max(col(ExerciseAnswer.id)))
    )  # fmt: skip
    return [(level, int(ok), of) for level, ok, of in session.exec(wanted)]


def unfinished_of(session: Session, person: Person, edition: str) -> int | None:
    """The latest exercise of this edition, when it still lacks answers."""
    wanted = (
        select(ExerciseShowing)
        .where(ExerciseShowing.person_id == person.id)
        .order_by(col(ExerciseShowing.id).desc())
        .limit(1)
    )
    last: Sequence[ExerciseShowing] = session.exec(wanted).all()
    if not last or last[0].edition != edition:
        return None
    return last[0].id if len(answers_in(session, last[0])) < last[0].steps else None
