"""What a visit holds, as plain words with the events behind them: what notes read.

Nothing is asked of the store here. Whoever gathers the facts says each in the words
that other pages use, and names the events it stands on.
"""

from dataclasses import dataclass, field
from datetime import date

from app.clinical.measure_line import MeasureLine
from app.clinical.note import Ref


@dataclass(frozen=True, slots=True)
class Said:
    """One thing in words. `key` is its line's key in every note that has it."""

    key: str
    says: str
    refs: tuple[Ref, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured(Said):
    """The line of a test; `done` is False where it came to no result."""

    line: MeasureLine
    done: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class GoalSaid(Said):
    """A goal in one sentence and how far it has come by what was measured.

    `progress` is empty where the goal was set at this visit.
    """

    number: int
    term: str  # in words
    signed: bool
    start: str = ""
    target: str = ""
    progress: str = ""
    standing: str = ""  # what was said of it on the visit's day


@dataclass(frozen=True, slots=True, kw_only=True)
class Background:
    """Who the person is, for an evaluation. Empty where nobody said it."""

    conditions: tuple[Said, ...] = ()
    living: tuple[Said, ...] = ()  # prior level, whom they live with, falls
    precautions: tuple[Said, ...] = ()  # orders and risks in force, limits of vitals
    deficits: tuple[Said, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitFacts:
    """Everything of one visit that a note may say. A group keeps the visit's order."""

    visit_id: int
    kind: str  # a key of visiting.KINDS
    day: date
    setting: str = ""  # in words
    reason: str = ""
    plan: str = "restore"  # or maintain
    missed: Said | None = None
    symptoms: tuple[Said, ...] = ()
    vitals: tuple[Said, ...] = ()
    measures: tuple[Measured, ...] = ()
    not_counted: tuple[Said, ...] = ()  # trials and sets that do not count, and why
    tasks: tuple[Said, ...] = ()
    activities: tuple[Said, ...] = ()
    stops: tuple[Said, ...] = ()
    not_done: tuple[Said, ...] = ()
    rooms: tuple[Said, ...] = ()
    teaching: tuple[Said, ...] = ()
    exits: tuple[Said, ...] = ()
    hand_off: tuple[Said, ...] = ()
    goals: tuple[GoalSaid, ...] = ()
    next_grades: tuple[Said, ...] = ()
    due: tuple[Said, ...] = ()
    planned: tuple[Said, ...] = ()
    minutes: tuple[Said, ...] = ()
    background: Background = field(default_factory=Background)
