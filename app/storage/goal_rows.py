"""The rows of goals: what one holds, what closes it, and how it stood on a day.

Written by `goals` alone.
"""

from dataclasses import dataclass, fields
from datetime import date, datetime
from typing import Final

from sqlalchemy import UniqueConstraint
from sqlmodel import Field

from app.clinical.assistance import CUE_AMOUNTS, CUE_KINDS, LEVELS
from app.clinical.goals import (
    CLOSES,
    KINDS,
    NO_CUES,
    PLACES,
    STANDINGS,
    SURFACES,
    TERMS,
    WHO,
)
from app.clinical.quantities import SHOWN_PLACES
from app.clinical.visiting import DEVICES, TASKS
from app.storage.tables import (
    Numbered,
    between,
    check,
    hexadecimal,
    length,
    number_text,
    one_of,
    uid,
)

LONGEST_PHRASE: Final = 80
LONGEST_SO_THAT: Final = 120
LONGEST_REASON: Final = 200
#: Trials of which some must work.
MOST_TRIALS: Final = 20
#: What each kind of goal must hold, and what no other kind may.
_HELD_BY: Final = {
    "score": "measure IS NOT NULL AND target_value IS NOT NULL AND target_unit IS NOT "
    "NULL",
    "level": "target_level IS NOT NULL AND help IS NULL",
    "times": "times IS NOT NULL",
}
_ONLY_BY: Final = (
    "(kind = 'score' OR (measure IS NULL AND target_value IS NULL AND target_unit IS "
    "NULL)) AND (kind = 'level' OR target_level IS NULL)"
)
_STARTS: Final = ("base_round_id", "base_task_id", "base_times")
_HOW_MANY_STARTS: Final = " + ".join(
    f"CASE WHEN {column} IS NULL THEN 0 ELSE 1 END" for column in _STARTS
)
_STARTS_BY: Final = " AND ".join(
    f"({column} IS NULL OR kind = '{kind}')"
    for column, kind in zip(_STARTS, _HELD_BY, strict=True)
)


class GoalRow(Numbered, table=True):
    """One goal. `number` is its own in the episode for good.

    `base_says` is its start as it was shown when the goal was set; the reference says
    where it was measured. `signed_hash` is over all that a reader relies on.
    """

    __tablename__ = "goal"
    __table_args__ = (
        uid(),
        UniqueConstraint("episode_id", "number"),
        check("number", "number >= 1"),
        one_of("term", TERMS),
        check("parent", "parent_id IS NULL OR term = 'short'"),
        one_of("who", WHO),
        one_of("task", TASKS),
        length("phrase", 0, LONGEST_PHRASE),
        one_of("place", PLACES),
        one_of("surface", SURFACES),
        one_of("device", DEVICES),
        one_of("cue_kind", (NO_CUES, *CUE_KINDS)),
        one_of("cue_amount", CUE_AMOUNTS),
        one_of("help", LEVELS),
        one_of("kind", KINDS),
        length("measure", 1, 80),
        check("target_value", number_text("target_value")),
        one_of("target_unit", SHOWN_PLACES),
        one_of("target_level", LEVELS),
        between("times", 1, MOST_TRIALS),
        between("out_of", 1, MOST_TRIALS),
        check("trials", "(times IS NULL) = (out_of IS NULL) AND times <= out_of"),
        *(
            check(f"{kind}_holds", f"kind <> '{kind}' OR ({rule})")
            for kind, rule in _HELD_BY.items()
        ),
        check("holds_only", _ONLY_BY),
        length("so_that", 0, LONGEST_SO_THAT),
        between("base_times", 0, MOST_TRIALS),
        check("base_of", "base_times <= out_of"),
        length("base_says", 0, 80),
        check(
            "start",
            f"({_HOW_MANY_STARTS}) = CASE WHEN base_on IS NULL THEN 0 ELSE 1 END "
            "AND (base_on IS NULL) = (base_says = '')",
        ),
        check("start_by_kind", _STARTS_BY),
        check("version", "version >= 1"),
        check(
            "signed",
            "(signed_at IS NULL) = (signed_by IS NULL) "
            "AND (signed_at IS NULL) = (signed_hash IS NULL)",
        ),
        hexadecimal("signed_hash", 64),
        one_of("close_word", CLOSES),
        length("close_reason", 0, LONGEST_REASON),
        check(
            "closed",
            "(closed_on IS NULL AND close_word IS NULL AND closed_by IS NULL "
            "AND close_reason = '') OR (closed_on IS NOT NULL AND closed_by IS NOT "
            "NULL AND close_word IS NOT NULL AND length(close_reason) >= 1)",
        ),
        check("closed_after", "closed_on >= set_on"),
    )

    uid: str = Field(unique=True)
    episode_id: int = Field(foreign_key="episode.id")
    number: int
    term: str
    parent_id: int | None = Field(default=None, foreign_key="goal.id")
    who: str
    task: str | None = None
    phrase: str = ""
    place: str | None = None
    surface: str | None = None
    device: str | None = None
    cue_kind: str | None = None
    cue_amount: str | None = None
    help: str | None = None
    kind: str
    measure: str | None = None
    target_value: str | None = None
    target_unit: str | None = None
    target_level: str | None = None
    times: int | None = None
    out_of: int | None = None
    by_date: date
    so_that: str = ""
    base_round_id: int | None = Field(default=None, foreign_key="round.id")
    base_task_id: int | None = Field(default=None, foreign_key="task_observation.id")
    base_times: int | None = None
    base_on: date | None = None
    base_says: str = ""
    set_on: date
    set_by: int = Field(foreign_key="person.id")
    recorded_at: datetime
    version: int = 1
    edited_at: datetime | None = None
    edited_by: int | None = Field(default=None, foreign_key="person.id")
    signed_at: datetime | None = None
    signed_by: int | None = Field(default=None, foreign_key="person.id")
    signed_hash: str | None = None
    closed_on: date | None = None
    closed_by: int | None = Field(default=None, foreign_key="person.id")
    close_word: str | None = None
    close_reason: str = ""
    replaces_id: int | None = Field(default=None, foreign_key="goal.id", unique=True)


class GoalWord(Numbered, table=True):
    """How an open goal stood on a day, and by what. Written once.

    `says` is the evidence as it was shown: a number and its day, or why it rests.
    """

    __tablename__ = "goal_word"
    __table_args__ = (
        uid(),
        one_of("word", STANDINGS),
        length("says", 0, LONGEST_REASON),
        check("told", "word IN ('not_started', 'progressing') OR length(says) >= 1"),
        between("percent", 0, 100),
        between("times", 0, MOST_TRIALS),
        between("out_of", 1, MOST_TRIALS),
        check("trials", "(times IS NULL) = (out_of IS NULL) AND times <= out_of"),
    )

    uid: str = Field(unique=True)
    goal_id: int = Field(foreign_key="goal.id", index=True)
    word: str
    says: str = ""
    percent: int | None = None
    times: int | None = None
    out_of: int | None = None
    round_id: int | None = Field(default=None, foreign_key="round.id")
    task_id: int | None = Field(default=None, foreign_key="task_observation.id")
    on_date: date
    recorded_at: datetime
    recorded_by: int = Field(foreign_key="person.id")


@dataclass(frozen=True, slots=True, kw_only=True)
class GoalBody:
    """What somebody says of a goal; None and empty mean that nobody said it."""

    term: str
    who: str
    kind: str
    by_date: date
    parent_id: int | None = None
    task: str | None = None
    phrase: str = ""
    place: str | None = None
    surface: str | None = None
    device: str | None = None
    cue_kind: str | None = None
    cue_amount: str | None = None
    help: str | None = None
    measure: str | None = None
    target_value: str | None = None
    target_unit: str | None = None
    target_level: str | None = None
    times: int | None = None
    out_of: int | None = None
    so_that: str = ""
    base_round_id: int | None = None
    base_task_id: int | None = None
    base_times: int | None = None
    base_on: date | None = None
    base_says: str = ""


SAID: Final = tuple(field.name for field in fields(GoalBody))


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How a goal stands today, and the evidence it rests on."""

    word: str
    says: str = ""
    percent: int | None = None
    times: int | None = None
    out_of: int | None = None
    round_id: int | None = None
    task_id: int | None = None
