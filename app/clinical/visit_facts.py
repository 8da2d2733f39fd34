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
    """The line of a test, `name`; `done` is False where it came to no result."""

    name: str
    line: MeasureLine
    done: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class GoalSaid(Said):
    """A goal as one sentence, and how far it had come by the visit's day.

    `short` names it in a few words. `progress` is empty where the goal was set at this
    visit, `ended` says how it ended on that day.
    """

    number: int
    term: str  # in words
    short: str
    start: str = ""
    progress: str = ""
    standing: str = ""  # what somebody said of it on that day
    ended: str = ""
    signed: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Background:
    """Who the person is and what they are treated for. Empty where nobody said it."""

    reason: Said | None = None
    person: Said | None = None  # age and sex
    conditions: tuple[Said, ...] = ()
    living: tuple[Said, ...] = ()  # prior level, home, who helps, falls
    matters: Said | None = None  # in the person's own words
    precautions: tuple[Said, ...] = ()  # orders and risks in force
    deficits: tuple[Said, ...] = ()  # those that stand
    plan: Said | None = None  # to restore or to maintain


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitFacts:
    """Everything of one visit that a note may say. A group keeps the visit's order."""

    visit_id: int
    kind: str  # a key of visiting.KINDS
    day: date
    missed: Said | None = None
    symptoms: tuple[Said, ...] = ()
    vitals: tuple[Said, ...] = ()
    measures: tuple[Measured, ...] = ()
    not_counted: tuple[Said, ...] = ()  # trials, sets and tasks, each with its reason
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

    @property
    def holds_work(self) -> bool:
        """Whether anything was tested, seen or done with the person."""
        return bool(self.measures or self.tasks or self.activities)
