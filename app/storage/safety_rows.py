"""The rows of what was done after a stop, and of who has looked into it.

A stop is of a trial or of a set of an activity: each row points at one of the two.
"""

from datetime import datetime
from typing import Any, Final, Literal

from sqlalchemy import ColumnElement, Index, UniqueConstraint
from sqlmodel import Field, col, select

from app.access import SUPERVISOR, THERAPIST
from app.clinical.make_safe import (
    LONGEST_CALLED,
    LONGEST_NOTE,
    POSITIONS,
    SYMPTOMS,
    VITALS,
    WHATS,
    YES_NO,
)
from app.storage.tables import (
    Numbered,
    Table,
    between,
    check,
    length,
    one_of,
    partial_index,
)

#: Whose look ends a stop's place on the brief.
LOOKERS: Final = (THERAPIST, SUPERVISOR)
#: What was stopped: a trial of a test or a set of an activity.
Of = Literal["trial", "set"]
_OF_ONE: Final = "(trial_id IS NULL) <> (set_id IS NULL)"


class SafetyEvent(Numbered, table=True):
    """The answers after one stop as they stood at `recorded_at`; all are optional."""

    __tablename__ = "safety_event"
    __table_args__ = (
        partial_index(
            "ix_safety_event_first",
            "trial_id",
            unique=True,
            rule="replaces_id IS NULL",
        ),
        partial_index(
            "ix_safety_event_first_set",
            "set_id",
            unique=True,
            rule="replaces_id IS NULL",
        ),
        check("of_one", _OF_ONE),
        one_of("what", WHATS),
        one_of("head_strike", YES_NO),
        one_of("blood_thinner", YES_NO),
        one_of("position", POSITIONS),
        *(between(name, vital.low, vital.high) for name, vital in VITALS.items()),
        check("pressures", "diastolic < systolic"),
        length("called", 0, LONGEST_CALLED),
        length("note", 0, LONGEST_NOTE),
    )

    trial_id: int | None = Field(default=None, foreign_key="trial.id", index=True)
    set_id: int | None = Field(default=None, foreign_key="activity_set.id", index=True)
    replaces_id: int | None = Field(
        default=None, foreign_key="safety_event.id", unique=True
    )
    what: str | None = None
    head_strike: str | None = None
    blood_thinner: str | None = None
    called: str = ""
    called_at: datetime | None = None
    systolic: int | None = None
    diastolic: int | None = None
    heart_rate: int | None = None
    saturation: int | None = None
    position: str | None = None
    note: str = ""
    recorded_by: int = Field(foreign_key="person.id")
    recorded_at: datetime


class SafetySymptom(Table, table=True):
    """A symptom in one row of answers. Written with it."""

    __tablename__ = "safety_symptom"
    __table_args__ = (one_of("symptom", SYMPTOMS),)

    event_id: int = Field(foreign_key="safety_event.id", primary_key=True)
    symptom: str = Field(primary_key=True)


class SafetySeen(Numbered, table=True):
    """Somebody has looked into a stop, in the role they had then."""

    __tablename__ = "safety_seen"
    __table_args__ = (
        UniqueConstraint("trial_id", "person_id"),
        Index("ix_safety_seen_of_set", "set_id", "person_id", unique=True),
        check("of_one", _OF_ONE),
        one_of("role", LOOKERS),
    )

    trial_id: int | None = Field(default=None, foreign_key="trial.id")
    set_id: int | None = Field(default=None, foreign_key="activity_set.id")
    person_id: int = Field(foreign_key="person.id")
    role: str
    seen_at: datetime


def pointer(row: type[SafetyEvent] | type[SafetySeen], of: Of) -> Any:
    """The column that says what a row is of."""
    return col(row.set_id if of == "set" else row.trial_id)


def row_id(row: SafetyEvent | SafetySeen, of: Of) -> int | None:
    return row.set_id if of == "set" else row.trial_id


def seen_ids(of: Of, where: ColumnElement[bool]) -> Any:
    """The trials or sets that somebody has looked into; never an empty pointer."""
    column = pointer(SafetySeen, of)
    return select(column).where(column.is_not(None), where)
