"""What a goal may begin at: a score or a task of this episode, with its number."""

import re
from dataclasses import dataclass
from typing import Final

from sqlmodel import col, select

from app.clinical.assistance import LEVELS
from app.clinical.measure import Measure
from app.clinical.visiting import TASKS
from app.storage.goal_rows import GoalBody
from app.storage.observations import TaskObservation
from app.storage.scores import NOT_TRIED, Score
from app.storage.trials import Round
from app.web.dates import day_words
from app.web.goal_book import GoalBook
from app.web.last_scores import value_words

_KEY: Final = re.compile(r"(round|task)-(\d{1,9})", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """`key` names it in a form and in an address; `base` is what the goal keeps of it.

    `number` is a score's value, in `unit`; empty for a task and for unable.
    """

    key: str
    kind: str
    what: str
    value: str
    day: str
    base: dict[str, object]
    measure: Measure | None = None
    unit: str = ""
    number: str = ""
    task: str = ""


def starts(book: GoalBook) -> list[Start]:
    """The newest of each test and of each task in this episode."""
    wanted = (
        select(Score)
        .join(Round, col(Round.id) == col(Score.round_id))
        .where(
            Score.patient_id == book.patient.id,
            col(Round.visit_id).in_(book.here),
            col(Score.outcome).in_(("completed", "unable")),
        )
        .order_by(col(Score.on_date), col(Score.round_id))
    )
    tests = {score.measure: score for score in book.session.exec(wanted)}
    tasks = {row.task: _of_task(book, row) for row, _ in book.tasks()}
    known = [
        _of_score(book, s) for s in tests.values() if s.measure in book.shelf.measures
    ]
    return [*known, *tasks.values()]


def start_of(book: GoalBook, key: str) -> Start | None:
    """The start that a form or an address names; None for none of this episode."""
    found = _KEY.fullmatch(key)
    if found is None:
        return None
    kind, number = found[1], int(found[2])
    if kind == "task":
        rows = [row for row, _ in book.tasks() if row.id == number]
        return _of_task(book, rows[0]) if rows else None
    score = book.session.exec(select(Score).where(Score.round_id == number)).first()
    round = book.session.get(Round, number)
    if score is None or round is None or round.visit_id not in book.here:
        return None
    if score.outcome in (*NOT_TRIED, "stopped"):
        return None
    return _of_score(book, score) if score.measure in book.shelf.measures else None


def key_of(body: GoalBody) -> str:
    """The key of a stored goal's start; empty without one."""
    if body.base_round_id is not None:
        return f"round-{body.base_round_id}"
    return f"task-{body.base_task_id}" if body.base_task_id is not None else ""


def _of_score(book: GoalBook, score: Score) -> Start:
    measure = book.shelf.measures[score.measure]
    value = value_words(score.outcome, score.value, score.unit)
    noun = f" {measure.noun(score.value)}".rstrip() if score.value else ""
    return Start(
        key=f"round-{score.round_id}",
        kind="score",
        what=measure.name,
        value=f"{value}{noun}",
        day=day_words(score.on_date),
        base={
            "base_round_id": score.round_id,
            "base_on": score.on_date,
            "base_says": f"{value}{noun}",
            "measure": measure.id,
        },
        measure=measure,
        unit=score.unit,
        number=score.value or "",
    )


def _of_task(book: GoalBook, row: TaskObservation) -> Start:
    day = next(day for one, day in book.tasks() if one.id == row.id)
    value = LEVELS[row.level or "total"].words
    if row.helpers > 1:
        value += f", times {row.helpers}"
    return Start(
        key=f"task-{row.id}",
        kind="level",
        what=TASKS[row.task].capitalize(),
        value=value,
        day=day_words(day),
        base={"base_task_id": row.id, "base_on": day, "base_says": value},
        task=row.task,
    )
