"""Goal attainment scaling: five steps in words for a goal, and where it came out.

The steps may be worded until the first rating and not after it. A rating is a row of
its own: the newest of a day is that day's.
"""

from collections.abc import Collection, Mapping, Sequence
from datetime import date, datetime
from typing import Any, Final

from sqlmodel import Field, Session, col, select

from app.clinical.goal_scaling import HIGHEST, LOWEST
from app.storage import audit
from app.storage.episodes import Episode
from app.storage.errors import NotFound, SameIdOtherBody, StaleVersion, StorageProblem
from app.storage.goal_rows import GoalRow
from app.storage.goals import GoalIsClosed
from app.storage.patients import patient_for
from app.storage.people import Person
from app.storage.tables import Numbered, between, check, length, uid

#: The columns of the five steps' words, by step.
COLUMNS: Final[Mapping[int, str]] = {
    -2: "much_less", -1: "less", 0: "expected", 1: "more", 2: "much_more",
}  # fmt: skip
LONGEST_STEP: Final = 160
HEAVIEST: Final = 20


class GoalScale(Numbered, table=True):
    """The five steps of one goal and its weight among the others."""

    __tablename__ = "goal_scale"
    __table_args__ = (
        *(length(column, 1, LONGEST_STEP) for column in COLUMNS.values()),
        between("weight", 1, HEAVIEST),
        check("version", "version >= 1"),
    )

    goal_id: int = Field(foreign_key="goal.id", unique=True)
    much_less: str
    less: str
    expected: str
    more: str
    much_more: str
    weight: int
    version: int = 1
    set_at: datetime
    set_by: int = Field(foreign_key="person.id")


class GoalLevel(Numbered, table=True):
    """Where a goal came out on a day. Written once."""

    __tablename__ = "goal_level"
    __table_args__ = (uid(), between("level", LOWEST, HIGHEST))

    uid: str = Field(unique=True)
    goal_id: int = Field(foreign_key="goal.id", index=True)
    level: int
    on_date: date
    recorded_at: datetime
    recorded_by: int = Field(foreign_key="person.id")


class ScaleIsRated(StorageProblem):
    """Steps that somebody was rated on stand as they are."""

    sentence = (
        "This goal was rated on these steps: they stay as they read. Nothing was "
        "changed."
    )


def scales_of(session: Session, goals: Collection[GoalRow]) -> dict[int, GoalScale]:
    """By the goal's number of row."""
    wanted = select(GoalScale).where(col(GoalScale.goal_id).in_([g.id for g in goals]))
    return {row.goal_id: row for row in session.exec(wanted)}


def levels_of(
    session: Session, goals: Collection[GoalRow]
) -> dict[int, dict[date, int]]:
    """By the goal's number of row: the level of each day it was rated on, in order."""
    wanted = select(GoalLevel).where(col(GoalLevel.goal_id).in_([g.id for g in goals]))
    found: dict[int, dict[date, int]] = {}
    for row in session.exec(wanted.order_by(col(GoalLevel.on_date), col(GoalLevel.id))):
        found.setdefault(row.goal_id, {})[row.on_date] = row.level
    return found


def set_scale(
    session: Session,
    person: Person,
    goal: GoalRow,
    steps: Mapping[int, str],
    weight: int,
    *,
    version: int,
    now: datetime,
) -> GoalScale:
    """Word the five steps; `version` is the one the editor had, 0 for none yet."""
    _may(session, person, goal, "sign_goals")
    scale = scales_of(session, [goal]).get(goal.id)
    said: dict[str, Any] = {COLUMNS[step]: words for step, words in steps.items()}
    said["weight"] = weight
    if scale is not None and said == {name: getattr(scale, name) for name in said}:
        return scale
    if goal.closed_on is not None:
        raise GoalIsClosed
    if levels_of(session, [goal]):
        raise ScaleIsRated
    if (scale.version if scale else 0) != version:
        raise StaleVersion
    if scale is None:
        scale = GoalScale(
            goal_id=goal.id, version=0, set_at=now, set_by=person.id, **said
        )
    scale.sqlmodel_update(said)
    scale.version += 1
    scale.set_at, scale.set_by = now, person.id
    session.add(scale)
    session.flush()
    audit.deed(session, "set_goal_scale", scale, by=person.id, now=now)
    return scale


def rate(
    session: Session,
    person: Person,
    goal: GoalRow,
    level: int,
    *,
    uid: str,
    on: date,
    now: datetime,
) -> GoalLevel:
    """Say where a goal came out; the same id again finds it."""
    _may(session, person, goal, "sign_goals")
    known = session.exec(select(GoalLevel).where(GoalLevel.uid == uid)).first()
    if known is not None:
        if (known.goal_id, known.level, known.on_date) != (goal.id, level, on):
            raise SameIdOtherBody
        return known
    if scales_of(session, [goal]).get(goal.id) is None:
        raise NotFound("This goal has no steps yet. Word them first.")
    row = GoalLevel(
        uid=uid, goal_id=goal.id, level=level, on_date=on, recorded_at=now,
        recorded_by=person.id,
    )  # fmt: skip
    session.add(row)
    session.flush()
    audit.deed(session, "rated_goal", row, by=person.id, now=now)
    return row


def _may(session: Session, person: Person, goal: GoalRow, deed: str) -> None:
    episode = session.get_one(Episode, goal.episode_id)
    patient_for(session, person, episode.patient_id, deed)


def rated_days(levels: Mapping[int, Mapping[date, int]]) -> Sequence[date]:
    """Every day on which any goal was rated, oldest first."""
    return sorted({day for of_goal in levels.values() for day in of_goal})
