"""A demo patient's goals: read strictly, then set by the pages' own form.

A goal begins at the newest score of a test, or the newest of a task, by its day.
"""

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.catalogue.fields import CatalogueError, Table
from app.catalogue.load import Catalogue
from app.clinical.goal_scaling import STEPS
from app.clinical.goals import PLACES, STANDINGS, TERMS
from app.clinical.owing import Clocks
from app.clinical.visiting import TASKS
from app.storage.episodes import Episode
from app.storage.goal_rows import GoalRow, Standing
from app.storage.goal_scales import rate, set_scale
from app.storage.goals import add_goal, say_standing, sign_goal
from app.storage.patients import Patient
from app.storage.people import Person
from app.web.deps import Form
from app.web.goal_book import open_book
from app.web.goal_form import first_form, read_goal
from app.web.goal_starts import Start, starts

#: Fields of the form that a file may say.
TYPED: Final = (
    "target", "level", "phrase", "so_that", "device", "help", "cue_kind", "surface",
    "times", "out_of",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class DemoWord:
    """How a goal stood so many days ago, or with a number, where it came out."""

    days_ago: int
    word: str = ""
    says: str = ""
    level: int = 0


@dataclass(frozen=True, slots=True)
class DemoGoal:
    """One goal: where it begins, what is said of it, and what became of it."""

    days_ago: int
    by: str
    begins: str
    by_in_days: int
    said: dict[str, str]
    signed_by: str
    words: tuple[DemoWord, ...]
    steps: tuple[str, ...]
    weight: int
    rated: tuple[DemoWord, ...]


def read_demo_goal(
    t: Table, tests: Iterable[str], handles: Collection[str]
) -> DemoGoal:
    """One `[[goal]]` of a patient's file; raise CatalogueError."""
    said = {name: t.text(name) for name in TYPED if t.has(name)}
    for name, words in (("task", TASKS), ("place", PLACES), ("term", TERMS)):
        if t.has(name):
            said[name] = t.word(name, words)
    steps = t.words("steps")
    if steps and len(steps) != len(STEPS):
        raise t.wrong("steps", "write all five, from much less to much more")
    made = DemoGoal(
        days_ago=_days(t),
        by=t.word("by", handles),
        begins=t.word("begins", {*tests, *TASKS}),
        by_in_days=t.whole("by_in_days") or 0,
        said=said,
        signed_by=t.word("signed_by", handles) if t.has("signed_by") else "",
        words=tuple(map(_word, t.tables("said"))),
        steps=steps,
        weight=t.whole("weight") or 1,
        rated=tuple(map(_rating, t.tables("rated"))),
    )
    t.done()
    return made


def _days(t: Table) -> int:
    days = t.whole("days_ago")
    if days is None or days < 1:
        raise t.wrong("days_ago", "must be a whole number of days, 1 or more")
    return days


def _word(t: Table) -> DemoWord:
    made = DemoWord(_days(t), t.word("word", STANDINGS), t.text("says", ""))
    t.done()
    return made


def _rating(t: Table) -> DemoWord:
    level = t.whole("level")
    if level is None or level not in STEPS:
        raise t.wrong("level", "must be -2 to 2")
    made = DemoWord(_days(t), level=level)
    t.done()
    return made


@dataclass(frozen=True, slots=True)
class GoalStage:
    """Where and for whom a goal is set."""

    session: Session
    shelf: Catalogue
    zone: ZoneInfo
    patient: Patient
    episode: Episode


def set_demo_goal(
    stage: GoalStage,
    me: Person,
    told: DemoGoal,
    *,
    uid: str,
    today: date,
    now: datetime,
) -> GoalRow:
    """As somebody at the page would have set it; what the form refuses is refused."""
    book = open_book(
        stage.session, stage.shelf, Clocks(), stage.zone, stage.patient, stage.episode
    )
    begins = [s for s in starts(book) if told.begins in _names(s)]
    if not begins:
        raise CatalogueError(f"{stage.patient.label}: begins: nothing of it by then")
    by = today + timedelta(days=told.days_ago + told.by_in_days)
    first = first_form(begins[0], book.plan_end, today)
    typed = Form([*first.pairs, *told.said.items(), ("by_date", by.isoformat())])
    errors: dict[str, str] = {}
    body = read_goal(typed, begins[0], today, errors)
    if body is None:
        raise CatalogueError(f"{stage.patient.label}: goal: {errors}")
    goal = add_goal(
        stage.session, me, stage.episode, body, uid=uid, on=today, now=now
    )  # fmt: skip
    if told.steps:
        words = dict(zip(STEPS, told.steps, strict=True))
        set_scale(stage.session, me, goal, words, told.weight, version=0, now=now)
    return goal


def _names(start: Start) -> Iterator[str]:
    yield start.measure.id if start.measure else start.task


def sign_demo_goal(
    session: Session, me: Person, goal: GoalRow, now: datetime
) -> None:  # fmt: skip
    sign_goal(session, me, goal, version=goal.version, now=now)


def tell_demo_goal(
    stage: GoalStage,
    me: Person,
    goal: GoalRow,
    told: DemoWord,
    *,
    uid: str,
    today: date,
    now: datetime,
) -> None:
    """How it stood that day, with what was measured by then; or its rating."""
    if not told.word:
        rate(stage.session, me, goal, told.level, uid=uid, on=today, now=now)
        return
    book = open_book(
        stage.session, stage.shelf, Clocks(), stage.zone, stage.patient, stage.episode
    )
    progress = book.progress(goal)
    said = Standing(
        word=told.word, says=told.says or progress.says, percent=progress.percent,
        **book.evidence(goal, progress.on),
    )  # fmt: skip
    say_standing(stage.session, me, goal, said, uid=uid, on=today, now=now)
